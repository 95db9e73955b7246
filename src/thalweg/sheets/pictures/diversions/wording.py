"""The English words of the diagrams, by key; a translation brings the same keys."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["ENGLISH", "english"]

ENGLISH: Mapping[str, str] = {
    "diagram.note": "Seen from the front: the person’s right is on your left. Not to scale.",
    "diagram.right": "Person’s right",
    "diagram.left": "Person’s left",
    "diagram.site": "Stoma drawn about where it was marked on this person.",
    "diagram.anus": "Anus: urine leaves with stool",
    "diagram.bag": "Bag, worn day and night",
    "diagram.bag-leg": "Bag on the leg, or a valve",
    "diagram.bag-tube": "Bag for the tube",
    "diagram.bladder-kept": "Bladder, kept",
    "diagram.bladder-little": "Bladder: gets little or no urine",
    "diagram.bladder-out": "Bladder: taken out, or no longer used",
    "diagram.bowel-mended": "Bowel, joined together again",
    "diagram.catheter-bladder": "Catheter into the bladder",
    "diagram.catheter-pouch": "Catheter, put in several times a day",
    "diagram.channel": "Channel that holds urine back",
    "diagram.conduit-colon": "Piece of large bowel: urine runs through it",
    "diagram.conduit-ileum": "Piece of small bowel (ileum): urine runs through it",
    "diagram.conduit-jejunum": "Piece of upper small bowel (jejunum): urine runs through it",
    "diagram.kidney-gone": "Other kidney: missing, or does no work",
    "diagram.kidney-left": "Left kidney",
    "diagram.kidney-right": "Right kidney",
    "diagram.neobladder": "New bladder made of small bowel",
    "diagram.pouch": "Pouch made of bowel: stores urine",
    "diagram.sigmoid": "Last part of the large bowel: stores urine and stool",
    "diagram.skin-opening": "Opening in the skin, above the pubic bone",
    "diagram.stent": "Stent: a thin tube in the ureter",
    "diagram.stoma": "Stoma: the bowel opens on the skin",
    "diagram.stoma-continent": "Small opening: no bag",
    "diagram.stoma-loop": "Loop of the ureter, opened on the skin: urine runs into nappy or bag",
    "diagram.stoma-small": "Stoma: the ureter opens on the skin",
    "diagram.stoma-two": "Stoma: both ureters open on the skin",
    "diagram.tube-kidney": "Tube through the back into the kidney",
    "diagram.ureter": "Ureter: brings urine down",
    "diagram.ureter-behind": "Large bowel: the left ureter passes behind it",
    "diagram.ureter-below": "Ureter, still joined to the bladder",
    "diagram.ureter-blocked": "Ureter: blocked, or not in use",
    "diagram.ureter-crosses": "Ureter led across to the other side",
    "diagram.ureter-into-bowel": "Ureter joined to the bowel",
    "diagram.ureter-join": "Here one ureter joins the other",
    "diagram.ureter-own": "Ureter on the side of the stoma",
    "diagram.ureter-short": "Ureter, kept short",
    "diagram.ureter-usual": "Ureter, as before",
    "diagram.urethra": "Urethra: urine comes out the usual way",
    "diagram.side.right": "On the person’s right, which is on your left.",
    "diagram.side.left": "On the person’s left, which is on your right.",
    "diagram.side.both": "On both sides.",
    "diagram.side.none": "There is no stoma.",
    "diagram.title.cutaneous-single": "Cutaneous ureterostomy, one ureter",
    "diagram.title.cutaneous-bilateral": "Cutaneous ureterostomy, both sides",
    "diagram.title.cutaneous-double-barrel": "Cutaneous ureterostomy, both ureters in one stoma",
    "diagram.title.cutaneous-loop": "Loop ureterostomy",
    "diagram.title.transuretero-cutaneous": "One ureter joined to the other, and that one to the "
    "skin",
    "diagram.title.ileal-conduit": "Ileal conduit",
    "diagram.title.colon-conduit": "Colon conduit",
    "diagram.title.jejunal-conduit": "Jejunal conduit",
    "diagram.title.continent-pouch": "Continent cutaneous pouch",
    "diagram.title.neobladder": "Orthotopic neobladder",
    "diagram.title.ureterosigmoidostomy": "Ureterosigmoidostomy",
    "diagram.title.suprapubic-cystostomy": "Suprapubic catheter",
    "diagram.title.nephrostomy": "Nephrostomy",
    "diagram.says.cutaneous-single": "The ureter of the only working kidney runs down and forward "
    "to a small stoma on the skin and into a bag. A thin tube lies in the ureter. No bowel is "
    "used.",
    "diagram.says.cutaneous-bilateral": "Each ureter runs to a small stoma of its own, one on each "
    "side, with a bag on each. A thin tube lies in each ureter. No bowel is used.",
    "diagram.says.cutaneous-double-barrel": "Both ureters run side by side to one small stoma and "
    "one bag; one of them crosses the midline. A thin tube lies in each. No bowel is used.",
    "diagram.says.cutaneous-loop": "In a small child, a loop of the ureter is brought to the flank "
    "and opened on the skin. Below it the ureter goes on to the bladder, which is kept.",
    "diagram.says.transuretero-cutaneous": "One ureter crosses the midline and joins the other, "
    "which alone runs to a small stoma and a bag. No bowel is used.",
    "diagram.says.ileal-conduit": "Both ureters join the inner end of a short piece of small bowel "
    "low in the abdomen; its outer end is a stoma with a bag. The rest of the small bowel is "
    "joined together again.",
    "diagram.says.colon-conduit": "Both ureters, kept short, join a piece of large bowel that lies "
    "high in the abdomen; its outer end is a stoma with a bag. The rest of the large bowel is "
    "joined together again.",
    "diagram.says.jejunal-conduit": "Both ureters, kept short, join a piece of the upper small "
    "bowel that lies high in the abdomen; its outer end is a stoma with a bag. The rest of the "
    "small bowel is joined together again.",
    "diagram.says.continent-pouch": "Both ureters join a pouch made of bowel. A narrow channel "
    "leads from it to a small opening on the skin, through which a catheter empties it. There is "
    "no bag.",
    "diagram.says.neobladder": "Both ureters join a new bladder made of small bowel in the place "
    "of the old one. It opens into the urethra, so that urine comes out the usual way. There is no "
    "bag.",
    "diagram.says.ureterosigmoidostomy": "Both ureters join the last part of the large bowel. "
    "Urine is stored there and leaves with stool through the anus. There is no bag.",
    "diagram.says.suprapubic-cystostomy": "Both ureters run to the bladder as before. A catheter "
    "leads from the bladder through the lower abdominal wall to a bag on the leg or a valve.",
    "diagram.says.nephrostomy": "A tube runs from the kidney through the back to a bag. Ureter and "
    "bladder stay where they are.",
}


def english(key: str) -> str:
    """Return the English words of a key.

    Raises
    ------
    KeyError
        If there are none.
    """
    return ENGLISH[key]
