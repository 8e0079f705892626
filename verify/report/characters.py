"""What a terminal can show: file names and figures in characters that do no harm to it."""

from rich.text import Text

IN_ASCII = {  # for an output that has none of these
    "\N{RIGHTWARDS ARROW}": "->",
    "\N{MINUS SIGN}": "-",
    "\N{PLUS-MINUS SIGN}": "+/-",
    "\N{EN DASH}": "-",
    "\N{GREATER-THAN OR EQUAL TO}": ">=",
    "\N{LESS-THAN OR EQUAL TO}": "<=",
    "\N{MULTIPLICATION SIGN}": "x",
    "\N{HORIZONTAL ELLIPSIS}": "...",
    "\N{INFINITY}": "infinite",
    "\N{MICRO SIGN}": "u",
}


def plain(text: str) -> str:
    """Text of one line without what would move a cursor or change colours: a mark stands for it."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def plain_text(text: str) -> Text:
    """The same for a console, which takes nothing in it for markup."""
    return Text(plain(text))


def in_ascii(error: UnicodeError) -> tuple[str, int]:
    """What to write for characters that an output's encoding has not; an error handler of codecs.

    Returns
    -------
    The text, and where in the line that could not be written to go on.
    """
    if not isinstance(error, UnicodeEncodeError):
        raise error
    missing = error.object[error.start : error.end]
    return "".join(IN_ASCII.get(character, "?") for character in missing), error.end
