"""The panel: the page from which the bridge is operated, served by a process of its own. It talks OSC like any client."""
