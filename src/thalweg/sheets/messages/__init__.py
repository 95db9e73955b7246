"""What people read on sheets for themselves, ready to be translated."""

from thalweg.sheets.messages.wording import ENGLISH, Wording, wording

__all__ = ["ENGLISH", "Wording", "wording"]
