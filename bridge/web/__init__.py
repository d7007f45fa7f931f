"""What every page of ours stands on: who may open it, how much it may ask, and how texts reach it.

`site.Site` is the whole of it for one page: a socket, the files, one websocket `/stream`. Knows nothing of lights.
"""
