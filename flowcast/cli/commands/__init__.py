"""The commands by what they answer: a yard as it is, what lies ahead, what has been, all on a page."""
