"""The job in a browser window: a small site on this machine, over the files of one folder.

Files stay the truth: what the window changes is what a text editor would have changed.
"""

from __future__ import annotations
