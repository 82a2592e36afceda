"""What is asked for, what is there already, and how the rest is made: the engine that commands and Python share.

It prints nothing: whoever asks may have a function told of each `Event`.
"""

from tercet.kit.events import EVENT_KINDS, Event, EventKind, Listener, unheard
from tercet.kit.options import KitOptions, OptionError, PlayOptions

__all__ = [
    "EVENT_KINDS",
    "Event",
    "EventKind",
    "KitOptions",
    "Listener",
    "OptionError",
    "PlayOptions",
    "unheard",
]
