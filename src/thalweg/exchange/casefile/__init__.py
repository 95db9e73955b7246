"""The case file ``case.toml``: who the person is, what the course is, where the marks lie.

::

    [person]
    reference = "SU-0417"            # the unit's own number
    name = "…"
    born = 1961-03-04
    sex = "female"                   # as the kidney equations use it

    [course]
    at = 2026-03-02                  # holds for every entry that does not give its own
    indication = "bladder cancer"
    bladder-kept = false
    weight = "72.0 kg"
    height = { value = "168 cm", at = 2026-02-27 }

    [preferences]                    # the person's own answers, as `thalweg prefer` asks them
    at = 2026-03-02
    "no-bag/kidneys" = "second"      # or first, no difference, do not know

    [images]                         # needed where anything is marked
    at = 2026-03-02                  # when the images were taken
    folder = "ct"                    # series the marks lie on; left out if there is but one
    accept_identity = false          # true: take images in although they name another birth date
                                     # or sex (said in the report)

    [ureter.left]                    # and/or ureter.right; all points in LPS millimetres
    start_mm = [60, 20, 100]         # at the renal pelvis
    via_mm = [[45, 30, 0]]           # optional, in order
    end_mm = [25, 10, -150]          # at the bladder
    second = "late"                  # optional: folder of a second phase of this ureter
    second_points_mm = [[60, 21, 96], [25, 10, -151]]  # optional: start, via points and end on it;
                                     # left out, those of the first phase are used

    [ureter.right]                   # or the whole course, placed by hand where tracing fails
    points_mm = [[-58, 22, 98], [-44, 31, 10], [-27, 12, -148]]
    by_hand = true

    [[site]]                         # candidate stoma sites
    name = "right lower"
    point_mm = [-60, -110, -20]      # on the skin
    normal = [0, -1, 0]              # optional: outward direction of the skin
    wall_mm = 30                     # optional: thickness of the abdominal wall
    height_mm = 10                   # optional: of the stoma above the skin

    [[obstacle]]                     # what a ureter must pass round
    name = "aorta"
    kind = "capsule"                 # or "sphere", with at_mm
    from_mm = [0, 40, 100]
    to_mm = [0, 40, -60]
    radius_mm = 10

    [[radiograph]]                   # a ureter's shadow; the file lies in the folder radiographs
    file = "urogram.dcm"             # DICOM, PNG or JPEG
    side = "left"
    at = 2026-02-20                  # when it was taken
    points_px = [[743, 280], [724, 505], [640, 1150]]  # column, row; from pelvis to bladder
    source_detector = "1150 mm"      # optional, as are source_ureter (or ureter_detector),
    source_ureter = "950 mm"         # depth_spread, central_ray_px, frame, and a marked scale:
    depth_spread = "25 mm"           # scale_px, scale, scale_depth

    [landmarks_mm]
    umbilicus = [0, -105, 0]
    lower-pole-left = [70, 30, 60]   # iliac-spine-left, conduit-base, …

Keys that are not known are refused, with the nearest one that is.
"""

from thalweg.exchange.casefile.read import CASE_FILE, CaseFile, read_casefile
from thalweg.exchange.casefile.write import write_casefile

__all__ = ["CASE_FILE", "CaseFile", "read_casefile", "write_casefile"]
