"""What people read on sheets for themselves, ready to be translated."""

from thalweg.sheets.messages.wording import Wording, wording

__all__ = ["Wording", "wording"]
