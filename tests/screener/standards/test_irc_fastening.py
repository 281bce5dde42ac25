"""The code's nail counts: rules. What they are worth: `screener.checks`, subject wood_fastening."""

import numpy as np
import pytest

from screener.checks.published import published
from screener.standards import irc_fastening as irc
from screener.standards import nds_connections as nds
from screener.standards.wood_tables import table_rows

CD = 1.6


def test_every_line_of_the_schedule_has_a_check():
    rows = published("wood_irc_fastening_capacity.csv")
    assert {(r["connection"], r["fasteners"]) for r in rows} == {
        (r["connection"], r["fasteners"]) for r in table_rows("irc_fastening.csv")
    }


def test_short_nails_are_worth_less_by_the_shared_rule():
    """NDS 2018 Table 12N note against 12.3.5: p/10D is the lower of the two ways wherever it cuts."""
    for row in published("wood_irc_fastening_capacity.csv"):
        if row["uplift_withdrawal_CD1.6"].startswith("table way"):
            key = (row["connection"], row["fasteners"], row["species"], CD)
            shared, by_length = (irc.prescriptive_capacity(*key, rule=r).lateral_lb for r in ("share", "length"))
            assert shared < by_length, row


def test_anchor_rules():
    # IRC 2018 R403.1.6 and R602.11.1.
    assert irc.anchor_spacing_most_in("D0", 1) == irc.anchor_spacing_most_in("B", 3) == 72.0
    assert irc.anchor_spacing_most_in("D1", 3) == 48.0
    assert [irc.plate_washers_needed(s) for s in ("A", "B", "C", "D0", "D1", "D2", "D")] == [False] * 3 + [True] * 4


def test_unknown_fastening():
    with pytest.raises(LookupError, match="no fastening"):
        irc.prescriptive_capacity("Rafter", "3 staples", "SPF", CD)


def face(nail="10d common", g=0.50, count=3, **more):
    return irc.face_nailed(nds.fastener(nail), g, count, CD, 1.5, **more)


def test_face_nails_by_hand():
    """NDS 2018 by hand: 3-10d common, 1-1/2 in. DF-L on DF-L, CD 1.6. Table 12N (from memory) 118 lb a nail, Table
    12.2C (from memory) 36 lb/in over 1.5 in.: 118 x 3 x 1.6 = 566 lb, 36 x 1.5 x 3 x 1.6 = 259 lb."""
    ours = face()
    assert ours.lateral_lb == pytest.approx(566, abs=3)
    assert ours.withdrawal_lb == pytest.approx(259, abs=2)
    assert (ours.penetration_in, ours.withdrawal_length_in) == (1.5, 1.5)


def test_a_layer_between_and_a_thin_main_member_by_hand():
    """NDS 2018 12.3.5: 1/2 in. between leaves 1.0 in. of penetration, 1.0 / 1.48 of the value; a member thicker than
    the penetration changes nothing; out of a 1 in. member the whole of it bears."""
    whole, gap = face(), face(gap_thickness_in=0.5)
    assert gap.penetration_in == pytest.approx(1.0)
    assert gap.lateral_lb == pytest.approx(whole.lateral_lb * 1.0 / 1.48, rel=1e-6)
    assert face(main_thickness_in=3.5) == whole
    thin = face(main_thickness_in=1.0)
    assert thin.penetration_in == thin.withdrawal_length_in == 1.0
    assert gap.lateral_lb < thin.lateral_lb <= whole.lateral_lb  # mode IV: the hinge forms in either


def test_only_the_ringed_part_holds_by_hand():
    """NDS 2018 12.2-5 (from memory): 1800 G^2 D over the ringed length: 0.50, 0.131 in.: 58.95 lb/in."""
    nail = dict(nail="RSRS-03", count=1)
    assert face(**nail, ring_length_in=0.75).withdrawal_lb == pytest.approx(58.95 * 0.75 * 1.6, abs=0.01)
    assert face(**nail, ring_length_in=1.5).withdrawal_lb == pytest.approx(58.95 * 1.0 * 1.6, abs=0.01)
    assert face(**nail, ring_length_in=1.5).withdrawal_length_in == 1.0
    assert face(**nail, ring_length_in=0.75).penetration_in == 1.0


def test_end_nails_by_hand():
    """NDS 2018 12.5.2.2 by hand: 2-8d common through 1-1/2 in. DF-L into end grain: 97 lb (Table 12N, from memory) x
    1.0 / 1.31 for the short penetration x 0.67 x 2 x 1.6 = 159 lb; no withdrawal there (12.2.3.3)."""
    ours = irc.end_nailed(nds.fastener("8d common"), 0.50, 2, CD, 1.5)
    assert ours.lateral_lb == pytest.approx(158.8, abs=0.5)
    assert np.isnan(ours.withdrawal_lb)
    assert (ours.penetration_in, ours.withdrawal_length_in) == (1.0, 0.0)


def test_two_storeys_keep_the_wide_anchor_spacing():
    """IRC 2018 R403.1.6 (from memory): 4 ft only above two storeys in D0 to D2."""
    assert [irc.anchor_spacing_most_in("D1", n) for n in (1, 2, 3)] == [72.0, 72.0, 48.0]
