"""All that flowcast says, by key, in one file a language; and how a yard wants to be spoken to.

`en.toml` holds every text of page, screen, pictures and calendar. A translator copies it, translates
what stands in quotes and hands it back; `words.py` reads it, `say.py` speaks with it. Parts that know
no yard tell what they have to as a `note.py`.
"""

from flowcast.messages.note import Amount, Note
from flowcast.messages.say import DATE_FORMS, Say
from flowcast.messages.words import Words, english, read_words

__all__ = ["DATE_FORMS", "Amount", "Note", "Say", "Words", "english", "read_words"]
