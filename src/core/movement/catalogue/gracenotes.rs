//! Single gracenotes and taps, doublings, strikes, shakes, triplets and catches.

use super::{Family, Form, Row, Teaching, Timing, When, form};
use crate::chanter::Note;
use crate::movement::school::{
    CATCH_BEFORE_BEAT, D_FROM_D, EARLY_GRACENOTE, FULL_FROM_HIGH_A, FULL_ON_HIGH_G, LIGHT_D, School,
};

const CHART: &str = "LilyPond 2.24.1 bagpipe.ly, single grace notes; where it sounds: computed \
                     from the chart of fingers";

const THUMB_OPENS: &str = "high G is already sounding and cannot open the note again, so the \
                           thumb gracenote opens it";
const NO_OPENING: &str = "coming down from high A already sets the note off, so the opening \
                          gracenote is left out: the half form";

/// The row of a single gracenote, with the notes that can sound it.
const fn single(
    name: &'static str,
    spoken: &'static str,
    also: &'static [&'static str],
    forms: &'static [Form],
    instead: &'static [&'static str],
) -> Row {
    const SCHOOLS: &[School] = &[EARLY_GRACENOTE];
    Row {
        name,
        spoken,
        also,
        family: Family::Gracenote,
        source: CHART,
        forms,
        timing: Timing::From,
        timings: &[],
        schools: SCHOOLS,
        instead,
        teaching: Teaching::OF_ITS_PARTS,
    }
}

const TAP_AT_ONCE: &str = "the note is already sounding, so the first tap falls at once";

const EARLY: &str = "the next note cannot sound this gracenote, so it is played at the end of the \
                     note before";

/// Single gracenotes and taps, doublings, strikes, shakes, triplets and catches.
pub(super) const ROWS: &[Row] = &[
    single(
        "hg-gracenote",
        "high G gracenote",
        &["g-gracenote"],
        &[
            form("any", "LG..F", "(HG)"),
            form("LG..F", "HA", "(HG) |")
                .school(EARLY_GRACENOTE)
                .because(EARLY),
        ],
        &["ha-gracenote", "strike"],
    ),
    single(
        "d-gracenote",
        "D gracenote",
        &[],
        &[
            form("any", "LG..C", "(D)"),
            form("LG..C", "E..HA", "(D) |")
                .school(EARLY_GRACENOTE)
                .because(EARLY),
        ],
        &["hg-gracenote", "ha-gracenote", "strike"],
    ),
    single(
        "e-gracenote",
        "E gracenote",
        &[],
        &[
            form("any", "LG..D", "(E)"),
            form("LG..D", "F..HA", "(E) |")
                .school(EARLY_GRACENOTE)
                .because(EARLY),
        ],
        &["hg-gracenote", "ha-gracenote", "strike"],
    ),
    single(
        "f-gracenote",
        "F gracenote",
        &[],
        &[
            form("any", "LG..E", "(F)"),
            form("LG..E", "HG HA", "(F) |")
                .school(EARLY_GRACENOTE)
                .because(EARLY),
        ],
        &["hg-gracenote", "ha-gracenote", "strike"],
    ),
    Row {
        schools: &[],
        ..single(
            "ha-gracenote",
            "high A gracenote",
            &["thumb-gracenote"],
            &[form("any", "LG..HG", "(HA)")],
            &["hg-gracenote", "strike"],
        )
    },
    single(
        "c-gracenote",
        "C gracenote",
        &[],
        &[
            form("any", "LG..B", "(C)"),
            form("LG..B", "D..HA", "(C) |")
                .school(EARLY_GRACENOTE)
                .because(EARLY),
        ],
        &["d-gracenote", "hg-gracenote", "ha-gracenote", "strike"],
    ),
    single(
        "b-gracenote",
        "B gracenote",
        &[],
        &[
            form("any", "LG LA", "(B)"),
            form("LG LA", "C..HA", "(B) |")
                .school(EARLY_GRACENOTE)
                .because(EARLY),
        ],
        &["d-gracenote", "hg-gracenote", "ha-gracenote", "strike"],
    ),
    single(
        "la-gracenote",
        "low A gracenote",
        &[],
        &[
            form("any", "LG", "(LA)"),
            form("LG", "B..HA", "(LA) |")
                .school(EARLY_GRACENOTE)
                .because(EARLY),
        ],
        &["d-gracenote", "hg-gracenote", "ha-gracenote", "strike"],
    ),
    Row {
        name: "strike",
        spoken: "strike",
        also: &["plain-strike", "tap"],
        family: Family::Strike,
        source: "LilyPond 2.24.1 bagpipe.ly, half strikes; on high A the thumb taps and high G \
                 sounds: common practice, no source",
        // From a lower note the finger is already down, so there is nothing to tap.
        forms: &[
            form("not LG..C", "D", "(C)").school(LIGHT_D),
            form("not LG", "LA..D", "(s)"),
            form("not LG LA", "E", "(s)"),
            form("not LG..E", "F", "(s)"),
            form("not LG..F", "HG", "(s)"),
            form("not LG..HG", "HA", "(s)"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D],
        instead: &[
            "gracenote-strike",
            "thumb-strike",
            "half-strike",
            "hg-gracenote",
            "ha-gracenote",
        ],
        teaching: Teaching::OF_ITS_PARTS.listen_for(&[
            (
                When::NothingBefore,
                "one short {first}, and no other note on the way up from it",
            ),
            (
                When::Always,
                "one short {first}, and no other note on the way down or up",
            ),
        ]),
    },
    Row {
        name: "doubling",
        spoken: "doubling",
        also: &[],
        family: Family::Doubling,
        source: "LilyPond 2.24.1 bagpipe.ly, doublings, half and thumb doublings; which of them \
                 after which note: counted in 277 tunes",
        forms: &[
            form("not HG HA", "LG..F", "(HG) N (c)"),
            form("HG", "LG..F", "(HA) N (c)").because(THUMB_OPENS),
            form("HA", "LG..F", "N (c)").because(NO_OPENING),
            form("HA", "LG..F", "(HG) N (c)").school(FULL_FROM_HIGH_A),
            form("not HG HA", "HG", "HG (F)"),
            form("HG", "HG", "(HA) HG (F)").school(FULL_ON_HIGH_G),
            form("HA", "HG", "HG (F)").school(FULL_ON_HIGH_G),
            form("HG", "HG", "(F)").because(
                "high G is already sounding, so only the F strike is left: the half form",
            ),
            form("HA", "HG", "(F)").because(
                "coming down from high A already sets the high G off, so only the F strike is \
                 left: the half form",
            ),
            form("HA", "HG", "HG (F)").school(FULL_FROM_HIGH_A),
            form("not HA", "HA", "HA (HG)"),
            form("HA", "HA", "(HG)").because(
                "high A is already sounding, so only the thumb's strike is left: the half form",
            ),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[FULL_FROM_HIGH_A, FULL_ON_HIGH_G],
        instead: &["hg-gracenote", "ha-gracenote"],
        teaching: Teaching::OF_ITS_PARTS,
    },
    Row {
        name: "thumb-doubling",
        spoken: "thumb doubling",
        also: &[],
        family: Family::Doubling,
        source: "LilyPond 2.24.1 bagpipe.ly, thumb doublings",
        forms: &[
            form("any", "LG..F", "(HA) N (c)"),
            form("any", "HG", "(HA) HG (F)"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[],
        instead: &["doubling"],
        teaching: Teaching::OF_ITS_PARTS,
    },
    Row {
        name: "half-doubling",
        spoken: "half doubling",
        also: &[],
        family: Family::Doubling,
        source: "LilyPond 2.24.1 bagpipe.ly, half doublings; on high G after high G and high A: \
                 counted in 277 tunes",
        forms: &[
            form("HG HA", "HG", "(F)"),
            form("HA", "HA", "(HG)"),
            form("any", "LG..F", "N (c)"),
            form("any", "HG", "HG (F)"),
            form("any", "HA", "HA (HG)"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[],
        instead: &["doubling"],
        teaching: Teaching::OF_ITS_PARTS,
    },
    Row {
        name: "gracenote-strike",
        spoken: "gracenote strike",
        also: &["g-gracenote-strike", "g-strike"],
        family: Family::Strike,
        source: "LilyPond 2.24.1 bagpipe.ly, strikes with a high G gracenote; after high G and \
                 high A: common practice, no source",
        forms: &[
            form("not HG HA", "D", "(HG) D (C)").school(LIGHT_D),
            form("HG", "D", "(HA) D (C)")
                .school(LIGHT_D)
                .because(THUMB_OPENS),
            form("HA", "D", "D (C)").school(LIGHT_D).because(NO_OPENING),
            form("not HG HA", "LA..F", "(HG) N (s)"),
            form("HG", "LA..F", "(HA) N (s)").because(THUMB_OPENS),
            form("HA", "LA..F", "(HG) N (s)").school(FULL_FROM_HIGH_A),
            form("HA", "LA..F", "N (s)").because(NO_OPENING),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D, FULL_FROM_HIGH_A],
        instead: &["thumb-strike", "half-strike", "strike"],
        teaching: Teaching::OF_ITS_PARTS,
    },
    Row {
        name: "thumb-strike",
        spoken: "thumb strike",
        also: &[],
        family: Family::Strike,
        source: "LilyPond 2.24.1 bagpipe.ly, thumb strikes",
        forms: &[
            form("any", "D", "(HA) D (C)").school(LIGHT_D),
            form("any", "LA..HG", "(HA) N (s)"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D],
        instead: &["half-strike", "strike"],
        teaching: Teaching::OF_ITS_PARTS,
    },
    Row {
        name: "half-strike",
        spoken: "half strike",
        also: &[],
        family: Family::Strike,
        source: "LilyPond 2.24.1 bagpipe.ly, half strikes; on high A: common practice, no source",
        forms: &[
            form("any", "D", "D (C)").school(LIGHT_D),
            form("any", "LA..HA", "N (s)"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D],
        instead: &["gracenote-strike", "thumb-strike", "strike"],
        teaching: Teaching::OF_ITS_PARTS,
    },
    Row {
        name: "double-strike",
        spoken: "double strike",
        also: &[],
        family: Family::Strike,
        source: "common practice, no source",
        forms: &[
            form("not HG HA", "D", "(HG) D (C) D (C)").school(LIGHT_D),
            form("HG", "D", "(HA) D (C) D (C)")
                .school(LIGHT_D)
                .because(THUMB_OPENS),
            form("HA", "D", "D (C) D (C)")
                .school(LIGHT_D)
                .because(NO_OPENING),
            form("not HG HA", "B..F", "(HG) N (s) N (s)"),
            form("HG", "B..F", "(HA) N (s) N (s)").because(THUMB_OPENS),
            form("HA", "B..F", "N (s) N (s)").because(NO_OPENING),
            form("not HG HA", "HG", "(HA) HG (F) HG (F)"),
            form("HG", "HG", "(F) HG (F)")
                .because("high G is already sounding, so the first tap falls at once"),
            form("HA", "HG", "HG (F) HG (F)").because(NO_OPENING),
            form("not HA", "HA", "HA (HG) HA (HG)"),
            form("HA", "HA", "(HG) HA (HG)")
                .because("high A is already sounding, so the first tap falls at once"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D],
        instead: &["birl", "gracenote-strike", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[
            (When::ClosesOn(Note::HighG), &["thumb-strike"]),
            (When::ClosesOn(Note::HighA), &["half-strike"]),
            (When::Always, &["gracenote-strike"]),
        ]),
    },
    Row {
        name: "half-double-strike",
        spoken: "half double strike",
        also: &[],
        family: Family::Strike,
        source: "common practice, no source: the double strike without its opening gracenote",
        forms: &[
            form("any", "D", "D (C) D (C)").school(LIGHT_D),
            form("any", "D", "(C) D (C)")
                .school(LIGHT_D)
                .because(TAP_AT_ONCE),
            form("any", "B..HA", "N (s) N (s)"),
            form("any", "B..HA", "(s) N (s)").because(TAP_AT_ONCE),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D],
        instead: &["birl", "half-strike", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[(When::Always, &["half-strike"])]).shown_between(Note::B, Note::B),
    },
    Row {
        name: "triple-strike",
        spoken: "triple strike",
        also: &[],
        family: Family::Strike,
        source: "LilyPond 2.24.1 bagpipe.ly on high A; elsewhere common practice, no source",
        forms: &[
            form("not HG HA", "D", "(HG) D (C) D (C) D (C)").school(LIGHT_D),
            form("HG", "D", "(HA) D (C) D (C) D (C)")
                .school(LIGHT_D)
                .because(THUMB_OPENS),
            form("HA", "D", "D (C) D (C) D (C)")
                .school(LIGHT_D)
                .because(NO_OPENING),
            form("not HG HA", "LA..F", "(HG) N (s) N (s) N (s)"),
            form("HG", "LA..F", "(HA) N (s) N (s) N (s)").because(THUMB_OPENS),
            form("HA", "LA..F", "N (s) N (s) N (s)").because(NO_OPENING),
            form("not HG HA", "HG", "(HA) HG (F) HG (F) HG (F)"),
            form("HG", "HG", "(F) HG (F) HG (F)")
                .because("high G is already sounding, so the first tap falls at once"),
            form("HA", "HG", "HG (F) HG (F) HG (F)").because(NO_OPENING),
            form("not HA", "HA", "HA (HG) HA (HG) HA (HG)"),
            form("HA", "HA", "(HG) HA (HG) HA (HG)")
                .because("high A is already sounding, so the first tap falls at once"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D],
        instead: &["doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[(When::Always, &["double-strike"])]),
    },
    Row {
        name: "shake",
        spoken: "shake",
        also: &["pele", "peel"],
        family: Family::Shake,
        source: "LilyPond 2.24.1 bagpipe.ly, shakes; on high G its thumb form; after high G and \
                 high A: common practice, no source",
        forms: &[
            form("not HG HA", "D", "(HG) D (E) D (C)").school(LIGHT_D),
            form("HG", "D", "(HA) D (E) D (C)")
                .school(LIGHT_D)
                .because(THUMB_OPENS),
            form("HA", "D", "D (E) D (C)")
                .school(LIGHT_D)
                .because(NO_OPENING),
            form("not HG HA", "LA..F", "(HG) N (i) N (s)"),
            form("HG", "LA..F", "(HA) N (i) N (s)").because(THUMB_OPENS),
            form("HA", "LA..F", "(HG) N (i) N (s)").school(FULL_FROM_HIGH_A),
            form("HA", "LA..F", "N (i) N (s)").because(NO_OPENING),
            form("not HA", "HG", "(HA) HG (HA) HG (F)"),
            form("HA", "HG", "HG (HA) HG (F)").because(NO_OPENING),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D, FULL_FROM_HIGH_A],
        instead: &["doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[(When::Always, &["doubling", "strike"])]),
    },
    Row {
        name: "thumb-shake",
        spoken: "thumb shake",
        also: &["thumb-pele", "thumb-peel"],
        family: Family::Shake,
        source: "LilyPond 2.24.1 bagpipe.ly, thumb shakes",
        forms: &[
            form("any", "D", "(HA) D (E) D (C)").school(LIGHT_D),
            form("any", "LA..HG", "(HA) N (i) N (s)"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D],
        instead: &["half-shake", "shake", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[(When::Always, &["doubling", "strike"])])
            // From high G the thumb opens the note; from high A no gracenote is needed to open it.
            .shown_between(Note::HighG, Note::D),
    },
    Row {
        name: "half-shake",
        spoken: "half shake",
        also: &["half-pele", "half-peel"],
        family: Family::Shake,
        source: "LilyPond 2.24.1 bagpipe.ly, half shakes",
        forms: &[
            form("any", "D", "D (E) D (C)").school(LIGHT_D),
            form("any", "LA..HG", "N (i) N (s)"),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D],
        instead: &["shake", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[(When::Always, &["doubling", "strike"])]),
    },
    Row {
        name: "gde-triplet",
        spoken: "GDE triplet",
        also: &["gde", "g-d-e", "tripling"],
        family: Family::Triplet,
        source: "common practice, no source: one note three times, opened by a high G, a D and an \
                 E gracenote; after high G and high A as the doublings",
        forms: &[
            form("not HG HA", "LG..C", "(HG) N (D) N (E)"),
            form("HG", "LG..C", "(HA) N (D) N (E)").because(THUMB_OPENS),
            form("HA", "LG..C", "N (D) N (E)").because(
                "coming down from high A already sets the note off, so the high G gracenote is left \
                 out",
            ),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[],
        instead: &["shake", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.shown_between(Note::E, Note::LowA),
    },
    Row {
        name: "catch",
        spoken: "catch",
        also: &[],
        family: Family::Catch,
        source: "LilyPond 2.24.1 bagpipe.ly, catches; after high G and high A: common practice, \
                 no source",
        forms: &[
            form("not HG HA", "D", "(HG) D LG (D) LG").school(D_FROM_D),
            form("HG", "D", "(HA) D LG (D) LG")
                .school(D_FROM_D)
                .because(THUMB_OPENS),
            form("HA", "D", "D LG (D) LG")
                .school(D_FROM_D)
                .because(NO_OPENING),
            form("not HG HA", "LA B C E", "(HG) N LG (D) LG"),
            form("not HG HA", "D", "(HG) D LG (B) LG"),
            form("HG", "LA B C E", "(HA) N LG (D) LG").because(THUMB_OPENS),
            form("HG", "D", "(HA) D LG (B) LG").because(THUMB_OPENS),
            form("HA", "LA B C E", "(HG) N LG (D) LG").school(FULL_FROM_HIGH_A),
            form("HA", "LA B C E", "N LG (D) LG").because(NO_OPENING),
            form("HA", "D", "(HG) D LG (B) LG").school(FULL_FROM_HIGH_A),
            form("HA", "D", "D LG (B) LG").because(NO_OPENING),
        ],
        timing: Timing::From,
        timings: &[(CATCH_BEFORE_BEAT, Timing::Until)],
        schools: &[D_FROM_D, FULL_FROM_HIGH_A, CATCH_BEFORE_BEAT],
        instead: &["shake", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[(When::Always, &["grip"])]),
    },
    Row {
        name: "thumb-catch",
        spoken: "thumb catch",
        also: &[],
        family: Family::Catch,
        source: "LilyPond 2.24.1 bagpipe.ly, thumb catches",
        forms: &[
            form("any", "D", "(HA) D LG (D) LG").school(D_FROM_D),
            form("any", "LA B C E", "(HA) N LG (D) LG"),
            form("any", "D", "(HA) D LG (B) LG"),
        ],
        timing: Timing::From,
        timings: &[(CATCH_BEFORE_BEAT, Timing::Until)],
        schools: &[D_FROM_D, CATCH_BEFORE_BEAT],
        instead: &["half-catch", "catch", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[(When::Always, &["grip"])]).shown_between(Note::HighG, Note::C),
    },
    Row {
        name: "half-catch",
        spoken: "half catch",
        also: &["half-grip"],
        family: Family::Catch,
        source: "LilyPond 2.24.1 bagpipe.ly, catches without the opening gracenote (its captions \
                 of the half and full groups look swapped)",
        forms: &[
            form("any", "D", "D LG (D) LG").school(D_FROM_D),
            form("any", "LA B C E", "N LG (D) LG"),
            form("any", "D", "D LG (B) LG"),
        ],
        timing: Timing::From,
        timings: &[(CATCH_BEFORE_BEAT, Timing::Until)],
        schools: &[D_FROM_D, CATCH_BEFORE_BEAT],
        instead: &["catch", "grip", "doubling"],
        teaching: Teaching::OF_ITS_PARTS.made_of(&[(When::Always, &["grip"])]).shown_between(Note::HighA, Note::C),
    },
];
