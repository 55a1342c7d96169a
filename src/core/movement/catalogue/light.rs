//! Throws, birls, grips, taorluaths and crunluaths.

use super::{Family, Pace, Row, Teaching, Timing, When, form};
use crate::chanter::Note;
use crate::movement::school::{
    B_GRIP, BIRL_WITH_D, BIRL_WITH_HIGH_G, D_FROM_D, E_GRIP, GRIP_ON_BEAT, HEAVY_THROW,
    LOW_A_TAORLUATH, LOW_A_WRITTEN, LOW_G_TAORLUATH, OPEN_THROW, SHORT_BIRL, THROW_BEFORE_BEAT,
    THROW_D_ON_BEAT, UPPER_THROW_BEFORE_BEAT,
};

const B_FROM_D: &str = "coming from D, the B gracenote separates the low Gs instead, with the bottom \
                        hand's ring finger; some schools keep the D gracenote";
const B_FROM_D_TO_LOW_A: &str = "coming from D, the B gracenote leads from the low G to the low A \
                                 instead, with the bottom hand's ring finger; some schools keep \
                                 the D gracenote";
const LOW_G_SOUNDS: &str = "low G is already sounding, so the opening low G is left out";
const THUMB_OPENS: &str = "high G is already sounding and cannot open the birl, so the thumb \
                           gracenote opens it";
const CLOSES_ON_LOW_G: &str = "closing on low G, the closing note is itself the second low G, so \
                               the movement ends with its separating gracenote";
const NO_DOUBLE_LOW_G: &str = "low G is already sounding and is not doubled: the D gracenote leads \
                               straight to low A";

/// What to listen for in a birl (common practice, no source).
const BOTH_LOW_GS: &str = "both low Gs equally long, with a clear low A between them, whichever \
                           way the finger makes them";

/// Throws, birls, grips, taorluaths and crunluaths.
pub(super) const ROWS: &[Row] = &[
    Row {
        name: "throw-on-d",
        spoken: "throw on D",
        also: &["throw", "d-throw"],
        family: Family::Throw,
        source: "LilyPond 2.24.1 bagpipe.ly, throws; light from low G drops its low G in 46 of 48: \
                 counted in 277 tunes; where its time falls: common practice, no source",
        forms: &[
            form("not LG", "D", "LG (D) LG C").school(HEAVY_THROW),
            form("LG", "D", "(D) LG C")
                .school(HEAVY_THROW)
                .because(LOW_G_SOUNDS),
            form("not LG", "D", "LG (D) C"),
            form("LG", "D", "(D) C").because(LOW_G_SOUNDS),
        ],
        timing: Timing::From,
        timings: &[
            (THROW_D_ON_BEAT, Timing::AtFirstSeparating),
            (THROW_BEFORE_BEAT, Timing::Until),
        ],
        schools: &[HEAVY_THROW, THROW_D_ON_BEAT, THROW_BEFORE_BEAT],
        instead: &["doubling", "hg-gracenote"],
        teaching: Teaching::OF_ITS_PARTS.listen_for(&[
            (
                When::LowGBeforeTheLast,
                "the C before the D: when the hand hurries, the C is lost and the throw jumps from \
                 low G to D",
            ),
            (
                When::Always,
                "the C before the D: when the hand hurries, the D gracenote runs into the D and the \
                 throw turns into a noise",
            ),
        ]),
    },
    Row {
        name: "throw-on-e",
        spoken: "throw on E",
        also: &["e-throw", "edre"],
        family: Family::Throw,
        source: "LilyPond 2.24.1 bagpipe.ly, throws",
        forms: &[
            form("any", "E", "(E) D (F) D").school(OPEN_THROW),
            form("any", "E", "(E) LA (F) LA"),
        ],
        timing: Timing::From,
        timings: &[(UPPER_THROW_BEFORE_BEAT, Timing::Until)],
        schools: &[OPEN_THROW, UPPER_THROW_BEFORE_BEAT],
        instead: &["doubling", "hg-gracenote"],
        teaching: Teaching::OF_ITS_PARTS,
    },
    Row {
        name: "throw-on-f",
        spoken: "throw on F",
        also: &["f-throw", "dare"],
        family: Family::Throw,
        source: "LilyPond 2.24.1 bagpipe.ly, throws",
        forms: &[form("any", "F", "(F) E (HG) E")],
        timing: Timing::From,
        timings: &[(UPPER_THROW_BEFORE_BEAT, Timing::Until)],
        schools: &[UPPER_THROW_BEFORE_BEAT],
        instead: &["doubling", "hg-gracenote"],
        teaching: Teaching::OF_ITS_PARTS,
    },
    Row {
        name: "birl",
        spoken: "birl",
        also: &[],
        family: Family::Birl,
        source: "LilyPond 2.24.1 bagpipe.ly, birls",
        forms: &[
            form("not HG", "LA", "(HG) LA (LG) LA (LG)").school(BIRL_WITH_HIGH_G),
            form("HG", "LA", "(HA) LA (LG) LA (LG)")
                .school(BIRL_WITH_HIGH_G)
                .because(THUMB_OPENS),
            form("not D", "LA", "(D) LA (LG) LA (LG)").school(BIRL_WITH_D),
            form("not LG", "LA", "(LG) LA (LG)").school(SHORT_BIRL),
            form("D", "LA", "LA (LG) LA (LG)")
                .school(BIRL_WITH_D)
                .because("D is already sounding and cannot open the birl, so nothing opens it"),
            form("not LA", "LA", "LA (LG) LA (LG)"),
            form("LA", "LA", "(LG) LA (LG)")
                .because("low A is already sounding, so the first tap falls at once"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[BIRL_WITH_HIGH_G, BIRL_WITH_D, SHORT_BIRL],
        instead: &["double-strike", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.listen_for(&[
            (
                When::FallsOnLowG,
                "both low Gs equally long, with a clear low A between them: one falls with the \
                 hand, the other is tapped",
            ),
            (When::Always, BOTH_LOW_GS),
        ]),
    },
    Row {
        name: "thumb-birl",
        spoken: "thumb birl",
        also: &[],
        family: Family::Birl,
        source: "common practice, no source: the birl of LilyPond 2.24.1 bagpipe.ly with a high G \
                 gracenote, opened by the thumb where high G sounds before it",
        forms: &[form("any", "LA", "(HA) LA (LG) LA (LG)")],
        timing: Timing::From,
        timings: &[],
        schools: &[],
        instead: &["birl", "double-strike", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.listen_for(&[(When::Always, BOTH_LOW_GS)])
            .made_of(&[(When::Always, &["birl"])])
            .shown_between(Note::HighG, Note::LowA),
    },
    Row {
        name: "grip",
        spoken: "grip",
        also: &["leumluath", "lemluath", "leumluath-breabach"],
        family: Family::Grip,
        source: "LilyPond 2.24.1 bagpipe.ly, grips; B from D: common practice (18 of 20 in 277 \
                 tunes); from and to low G: common practice, no source",
        forms: &[
            form("not LG", "LA..HA", "LG (E) LG").school(E_GRIP),
            form("LG", "LA..HA", "(E) LG")
                .school(E_GRIP)
                .because(LOW_G_SOUNDS),
            form("not LG", "LA..HA", "LG (B) LG").school(B_GRIP),
            form("D", "LA..HA", "LG (D) LG").school(D_FROM_D),
            form("D", "LG", "LG (D)")
                .school(D_FROM_D)
                .because(CLOSES_ON_LOW_G),
            form("not LG D", "LA..HA", "LG (D) LG"),
            form("D", "LA..HA", "LG (B) LG").because(B_FROM_D),
            form("LG", "LA..HA", "(D) LG").because(LOW_G_SOUNDS),
            form("not LG D", "LG", "LG (D)").because(CLOSES_ON_LOW_G),
            form("D", "LG", "LG (B)").because(
                "closing on low G, the closing note is itself the second low G; from D the B \
                 gracenote separates",
            ),
        ],
        timing: Timing::Until,
        timings: &[(GRIP_ON_BEAT, Timing::From)],
        schools: &[D_FROM_D, B_GRIP, E_GRIP, GRIP_ON_BEAT],
        instead: &["d-gracenote", "doubling"],
        teaching: Teaching::OF_ITS_PARTS,
    },
    Row {
        name: "taorluath",
        spoken: "taorluath",
        also: &["taorluadh", "breabach", "taorluath-breabach"],
        family: Family::Grip,
        source: "LilyPond 2.24.1 bagpipe.ly, taorluaths; ABC 2.1 §4.12; B from D and the form from \
                 low G: common practice, no source",
        forms: &[
            form("D", "LG..D", "LG (D) LG (E)").school(D_FROM_D),
            form("LG", "LG..D", "(D) LG (E)")
                .school(LOW_G_TAORLUATH)
                .because(LOW_G_SOUNDS),
            form("not LG D", "LG..D", "LG (D) LA (E)").school(LOW_A_TAORLUATH),
            form("D", "LG..D", "LG (B) LA (E)")
                .school(LOW_A_TAORLUATH)
                .because(B_FROM_D_TO_LOW_A),
            form("not LG D", "LA", "LG (D) LG LA (E)").school(LOW_A_WRITTEN),
            form("D", "LA", "LG (B) LG LA (E)")
                .school(LOW_A_WRITTEN)
                .because(B_FROM_D),
            form("not LG D", "LG..D", "LG (D) LG (E)"),
            form("D", "LG..D", "LG (B) LG (E)").because(B_FROM_D),
            form("LG", "LG..D", "(D) LA (E)").because(NO_DOUBLE_LOW_G),
        ],
        timing: Timing::Until,
        timings: &[],
        schools: &[D_FROM_D, LOW_G_TAORLUATH, LOW_A_TAORLUATH, LOW_A_WRITTEN],
        instead: &["grip", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[
            // With only one low G the movement has no grip in it.
            (When::OneLowG, &[]),
            (When::Always, &["grip"]),
        ]),
    },
    Row {
        name: "half-taorluath",
        spoken: "half taorluath",
        also: &[],
        family: Family::Grip,
        source: "common practice, no source: the half catch of LilyPond 2.24.1 bagpipe.ly and the \
                 E gracenote of its taorluath",
        forms: &[
            form("any", "D", "D LG (D) LG (E)").school(D_FROM_D),
            form("any", "LA B C", "N LG (D) LG (E)"),
            form("any", "D", "D LG (B) LG (E)"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[D_FROM_D],
        instead: &["taorluath", "half-catch", "grip", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[(When::Always, &["taorluath", "half-catch"])])
            .shown_between(Note::E, Note::LowA),
    },
    Row {
        name: "crunluath",
        spoken: "crunluath",
        also: &["crunluadh", "crunluath-breabach"],
        family: Family::Grip,
        source: "LilyPond 2.24.1 bagpipe.ly, crunluaths; from low G as the taorluath from low G: \
                 common practice, no source",
        forms: &[
            form("D", "E", "LG (D) LG (E) LA (F) LA").school(D_FROM_D),
            form("LG", "E", "(D) LG (E) LA (F) LA")
                .school(LOW_G_TAORLUATH)
                .because(LOW_G_SOUNDS),
            form("not LG D", "E", "LG (D) LG (E) LA (F) LA"),
            form("D", "E", "LG (B) LG (E) LA (F) LA").because(B_FROM_D),
            form("LG", "E", "(D) LA (E) LA (F) LA").because(NO_DOUBLE_LOW_G),
        ],
        timing: Timing::Until,
        timings: &[],
        schools: &[D_FROM_D, LOW_G_TAORLUATH],
        instead: &["taorluath", "grip", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[(When::Always, &["taorluath", "throw-on-e"])])
            .pace(Pace::Variation),
    },
    Row {
        name: "tachum",
        spoken: "tachum",
        also: &[],
        family: Family::Figure,
        source: "common practice, no source: a figure of two melody notes, the first short and \
                 opened by a high G gracenote, the second opened by a D gracenote",
        forms: &[
            form("E..HA", "LG..C", "(D)"),
            form("C", "LG..B", "(D)"),
            form("B", "LG LA", "(D)"),
            form("LA", "LG", "(D)"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[],
        instead: &["hg-gracenote", "ha-gracenote", "strike"],
        teaching: Teaching::OF_ITS_PARTS.shown_between(Note::C, Note::LowA),
    },
];
