"""The panel: the page from which the bridge is operated. A process of its own; it talks OSC like any client."""
