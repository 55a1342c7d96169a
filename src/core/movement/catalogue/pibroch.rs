//! Movements of pibroch: a-mach and fosgailte forms, cadences, echoes, long variations.

use super::{Family, Pace, Row, Teaching, Timing, When, form};
use crate::chanter::Note;
use crate::movement::school::{CADENCE_WITHOUT_HIGH_G, D_FROM_D, LIGHT_D, LONG_OVER_LOW_G, School};

const B_FROM_D: &str = "coming from D, the B gracenote separates the low Gs instead, with the bottom \
                        hand's ring finger; some schools keep the D gracenote";
const B_FROM_D_TO_LOW_A: &str = "coming from D, the B gracenote leads from the low G to the low A \
                                 instead, with the bottom hand's ring finger; some schools keep \
                                 the D gracenote";
const LOW_G_SOUNDS: &str = "low G is already sounding, so the opening low G is left out";
const THUMB_OPENS: &str = "high G is already sounding and cannot open the note again, so the \
                           thumb gracenote opens it";
const NO_OPENING: &str = "coming down from high A already sets the note off, so the opening \
                          gracenote is left out";
const LONG: &str = "LilyPond 2.24.1 bagpipe.ly, long variations of an 18th-century treatise; from \
                    D: common practice, no source";

const VARIATION: Teaching = Teaching::OF_ITS_PARTS.pace(Pace::Variation);
const GROUND: Teaching = Teaching::OF_ITS_PARTS.pace(Pace::Ground);
const CRUNLUATH_OUTWARDS: Teaching = VARIATION.made_of(&[(
    When::Always,
    &["taorluath-a-mach", "crunluath", "crunluath-fosgailte"],
)]);

/// The row of a movement that sounds before the closing note and is taught as a variation.
const fn before(
    name: &'static str,
    spoken: &'static str,
    also: &'static [&'static str],
    source: &'static str,
    forms: &'static [super::Form],
    schools: &'static [School],
    instead: &'static [&'static str],
) -> Row {
    Row {
        name,
        spoken,
        also,
        family: Family::Pibroch,
        source,
        forms,
        timing: Timing::Until,
        timings: &[],
        schools,
        instead,
        teaching: VARIATION,
    }
}

const CRUNLUATH_A_MACH: &str = "LilyPond 2.24.1 bagpipe.ly, crunluaths a mach; from low G: common \
                                practice, no source";

/// Movements of pibroch.
pub(super) const ROWS: &[Row] = &[
    before(
        "taorluath-a-mach",
        "taorluath a mach",
        &[],
        "LilyPond 2.24.1 bagpipe.ly, taorluaths a mach; from D and from low G: common practice, \
         no source",
        &[
            form("D", "B C", "LG (D) LG N (E)").school(D_FROM_D),
            form("D", "D", "LG (D) LG C D (E)").school(D_FROM_D),
            form("not LG D", "B C", "LG (D) LG N (E)"),
            form("not LG D", "D", "LG (D) LG C D (E)"),
            form("D", "B C", "LG (B) LG N (E)").because(B_FROM_D),
            form("D", "D", "LG (B) LG C D (E)").because(B_FROM_D),
            form("LG", "B C", "(D) LG N (E)").because(LOW_G_SOUNDS),
            form("LG", "D", "(D) LG C D (E)").because(LOW_G_SOUNDS),
        ],
        &[D_FROM_D],
        &["taorluath", "grip", "doubling"],
    )
    .taught(VARIATION.made_of(&[(When::Always, &["taorluath"])])),
    before(
        "crunluath-a-mach-on-b",
        "crunluath a mach on B",
        &[],
        CRUNLUATH_A_MACH,
        &[
            form("D", "E", "LG (D) LG B (E) B (F) B").school(D_FROM_D),
            form("not LG D", "E", "LG (D) LG B (E) B (F) B"),
            form("D", "E", "LG (B) LG B (E) B (F) B").because(B_FROM_D),
            form("LG", "E", "(D) LG B (E) B (F) B").because(LOW_G_SOUNDS),
        ],
        &[D_FROM_D],
        &["taorluath-a-mach", "crunluath", "grip", "doubling"],
    )
    .taught(CRUNLUATH_OUTWARDS),
    before(
        "crunluath-a-mach-on-c",
        "crunluath a mach on C",
        &[],
        CRUNLUATH_A_MACH,
        &[
            form("D", "E", "LG (D) LG C (E) C (F) C").school(D_FROM_D),
            form("not LG D", "E", "LG (D) LG C (E) C (F) C"),
            form("D", "E", "LG (B) LG C (E) C (F) C").because(B_FROM_D),
            form("LG", "E", "(D) LG C (E) C (F) C").because(LOW_G_SOUNDS),
        ],
        &[D_FROM_D],
        &["taorluath-a-mach", "crunluath", "grip", "doubling"],
    )
    .taught(CRUNLUATH_OUTWARDS),
    before(
        "crunluath-a-mach-on-d",
        "crunluath a mach on D",
        &[],
        CRUNLUATH_A_MACH,
        &[
            form("D", "E", "LG (D) LG C D (E) D (F) D").school(D_FROM_D),
            form("not LG D", "E", "LG (D) LG C D (E) D (F) D"),
            form("D", "E", "LG (B) LG C D (E) D (F) D").because(B_FROM_D),
            form("LG", "E", "(D) LG C D (E) D (F) D").because(LOW_G_SOUNDS),
        ],
        &[D_FROM_D],
        &["taorluath-a-mach", "crunluath", "grip", "doubling"],
    )
    .taught(CRUNLUATH_OUTWARDS),
    before(
        "crunluath-fosgailte",
        "crunluath fosgailte",
        &[],
        "LilyPond 2.24.1 bagpipe.ly, crunluaths fosgailte",
        &[
            form("LA", "E", "(E) LA (F) LA"),
            form("B", "E", "(E) B (F) B"),
            form("C", "E", "(E) C (F) C"),
            form("D", "E", "(E) D (F) D"),
        ],
        &[],
        &["throw-on-e", "crunluath", "grip", "doubling"],
    )
    .taught(VARIATION.purpose(
            "The open crunluath of pibroch: no low Gs; the E and F gracenotes stand straight on the \
             theme note, and it closes on E.",
        )),
    before(
        "taorluath-fosgailte",
        "taorluath fosgailte",
        &["open-taorluath"],
        "common practice, no source (from memory): the open taorluath from low G; on D it rises \
         through C, as the taorluath a mach of LilyPond 2.24.1 bagpipe.ly",
        &[
            form("LG", "B C", "(D) N (E)"),
            form("LG", "D", "C D (E)").because(
                "a D gracenote cannot open D, so it rises through C, as the taorluath a mach does",
            ),
        ],
        &[],
        &["taorluath-a-mach", "taorluath", "grip", "doubling"],
    )
    .taught(VARIATION.made_of(&[(When::Always, &["taorluath-a-mach"])])),
    before(
        "cadence",
        "cadence",
        &[],
        "LilyPond 2.24.1 bagpipe.ly, pibroch notations; the held E: common practice, no source",
        &[
            form("not HA", "LG..C", "E~ D").school(CADENCE_WITHOUT_HIGH_G),
            form("not HG HA", "LG..C", "(HG) E~ D"),
            form("HG", "LG..C", "(HA) E~ D").because(THUMB_OPENS),
            form("HA", "LG..C", "E~ D").because(NO_OPENING),
        ],
        &[CADENCE_WITHOUT_HIGH_G],
        &["short-cadence", "doubling"],
    )
    .taught(GROUND
            .purpose("A fall from a long E through D to {to}; pibroch writes it small and plays it long.")
            .made_of(&[(When::Always, &["short-cadence"])])),
    before(
        "short-cadence",
        "short cadence",
        &[],
        "LilyPond 2.24.1 bagpipe.ly, pibroch notations; the held E: common practice, no source",
        &[
            form("not HG HA", "LG..D", "(HG) E~"),
            form("HG", "LG..D", "(HA) E~").because(THUMB_OPENS),
            form("HA", "LG..D", "E~").because(NO_OPENING),
        ],
        &[],
        &["doubling"],
    )
    .taught(GROUND.purpose("A long E before {to}; pibroch writes it small and plays it long.")),
    Row {
        name: "hiharin",
        spoken: "hiharin",
        also: &[],
        family: Family::Pibroch,
        source: "LilyPond 2.24.1 bagpipe.ly, the birl with D; the held low A: common practice, no \
                 source",
        forms: &[form("any", "LA", "(D) LA~ (LG) LA (LG)")],
        timing: Timing::From,
        timings: &[],
        schools: &[],
        instead: &["birl", "doubling"],
        teaching: GROUND.listen_for(&[(
            When::Always,
            "both low Gs equally long, with a clear low A between them, whichever way the finger \
             makes them",
        )])
        .made_of(&[(When::Always, &["birl"])]),
    },
    Row {
        name: "double-echo",
        spoken: "double echo",
        also: &["echo-beat"],
        family: Family::Pibroch,
        source: "common practice, no source (from memory): the shake of LilyPond 2.24.1 bagpipe.ly \
                 with its first tone held",
        forms: &[
            form("not HG HA", "D", "(HG) D~ (E) D (C)").school(LIGHT_D),
            form("HG", "D", "(HA) D~ (E) D (C)")
                .school(LIGHT_D)
                .because(THUMB_OPENS),
            form("HA", "D", "D~ (E) D (C)")
                .school(LIGHT_D)
                .because(NO_OPENING),
            form("not HG HA", "LA..F", "(HG) N~ (i) N (s)"),
            form("HG", "LA..F", "(HA) N~ (i) N (s)").because(THUMB_OPENS),
            form("HA", "LA..F", "N~ (i) N (s)").because(NO_OPENING),
            form("not HA", "HG", "(HA) HG~ (HA) HG (F)"),
            form("HA", "HG", "HG~ (HA) HG (F)").because(NO_OPENING),
        ],
        timing: Timing::From,
        timings: &[],
        schools: &[LIGHT_D],
        instead: &["shake", "doubling"],
        teaching: GROUND.purpose(
            "A long note and two echoes of it: the first after a gracenote, the second after a tap.",
        )
        .made_of(&[(When::Always, &["shake"])]),
    },
    before(
        "bubbly-note",
        "bubbly note",
        &["darodo"],
        "LilyPond 2.24.1 bagpipe.ly, pibroch notations; D is kept from D: 10 of 10 in 277 tunes",
        &[
            form("not LG D", "LA..HA", "LG (D) LG (C) LG"),
            form("D", "LA..HA", "LG (D) LG (C) LG").because(
                "from D this movement keeps its D gracenote, where a grip takes the B gracenote",
            ),
            form("LG", "LA..HA", "(D) LG (C) LG").because(LOW_G_SOUNDS),
        ],
        &[],
        &["grip", "doubling"],
    )
    .taught(GROUND
            .purpose("Three low Gs parted by a D and a C gracenote, low in the chanter and quick.")
            .made_of(&[(When::Always, &["grip"])])),
    before(
        "embari",
        "embari",
        &[],
        "LilyPond 2.24.1 bagpipe.ly, pibroch notations; the notes it closes on: counted in 277 \
         tunes and common practice, no source",
        &[form("any", "E..HA", "(E) LG (F) LG")],
        &[],
        &["throw-on-e", "throw-on-f", "grip", "doubling"],
    )
    .taught(GROUND
            .purpose("Low G under an E and an F gracenote, thrown up to {to}.")
            .shown_between(Note::LowA, Note::E)),
    before(
        "chedari",
        "chedari",
        &[],
        "LilyPond 2.24.1 bagpipe.ly, pibroch notations; the notes it closes on: counted in 277 \
         tunes and common practice, no source",
        &[form("any", "F HG HA", "(F) E (HG) E (F) E")],
        &[],
        &["throw-on-f", "throw-on-e", "doubling"],
    )
    .taught(GROUND.purpose("E under F, high G and F gracenotes, thrown up to {to}.")),
    before(
        "long-variation-to-d",
        "long variation to D",
        &[],
        LONG,
        &[
            form("not LG D", "LG..C", "LG (D) LA (E) LG (F) LG (E) LG (D)").school(LONG_OVER_LOW_G),
            form("D", "LG..C", "LG (B) LA (E) LG (F) LG (E) LG (D)")
                .school(LONG_OVER_LOW_G)
                .because(B_FROM_D_TO_LOW_A),
            form("LG", "LG..C", "(D) LA (E) LG (F) LG (E) LG (D)")
                .school(LONG_OVER_LOW_G)
                .because(LOW_G_SOUNDS),
            form("not LG D", "LG..C", "LG (D) LA (E) LA (F) LA (E) LA (D)"),
            form("D", "LG..C", "LG (B) LA (E) LA (F) LA (E) LA (D)").because(B_FROM_D_TO_LOW_A),
            form("LG", "LG..C", "(D) LA (E) LA (F) LA (E) LA (D)").because(LOW_G_SOUNDS),
        ],
        &[LONG_OVER_LOW_G],
        &["taorluath", "grip", "doubling"],
    )
    .taught(VARIATION
            .made_of(&[(When::Always, &["taorluath"])])
            .pace(Pace::LongVariation)),
    before(
        "long-variation-to-c",
        "long variation to C",
        &[],
        LONG,
        &[
            form(
                "not LG D",
                "LG..B",
                "LG (D) LA (E) LG (F) LG (E) LG (D) LG (C)",
            )
            .school(LONG_OVER_LOW_G),
            form("D", "LG..B", "LG (B) LA (E) LG (F) LG (E) LG (D) LG (C)")
                .school(LONG_OVER_LOW_G)
                .because(B_FROM_D_TO_LOW_A),
            form("LG", "LG..B", "(D) LA (E) LG (F) LG (E) LG (D) LG (C)")
                .school(LONG_OVER_LOW_G)
                .because(LOW_G_SOUNDS),
            form(
                "not LG D",
                "LG..B",
                "LG (D) LA (E) LA (F) LA (E) LA (D) LA (C)",
            ),
            form("D", "LG..B", "LG (B) LA (E) LA (F) LA (E) LA (D) LA (C)")
                .because(B_FROM_D_TO_LOW_A),
            form("LG", "LG..B", "(D) LA (E) LA (F) LA (E) LA (D) LA (C)").because(LOW_G_SOUNDS),
        ],
        &[LONG_OVER_LOW_G],
        &["taorluath", "grip", "doubling"],
    )
    .taught(VARIATION
            .made_of(&[(When::Always, &["long-variation-to-d"])])
            .pace(Pace::LongVariation)),
    before(
        "barluath",
        "barluath",
        &[],
        LONG,
        &[
            form(
                "not LG D",
                "E..HA",
                "LG (D) LA (E) LG (F) LG (E) LG (D) LG (C) LG (B) LG (E) LG (F) LG",
            )
            .school(LONG_OVER_LOW_G),
            form(
                "D",
                "E..HA",
                "LG (B) LA (E) LG (F) LG (E) LG (D) LG (C) LG (B) LG (E) LG (F) LG",
            )
            .school(LONG_OVER_LOW_G)
            .because(B_FROM_D_TO_LOW_A),
            form(
                "LG",
                "E..HA",
                "(D) LA (E) LG (F) LG (E) LG (D) LG (C) LG (B) LG (E) LG (F) LG",
            )
            .school(LONG_OVER_LOW_G)
            .because(LOW_G_SOUNDS),
            form(
                "not LG D",
                "E..HA",
                "LG (D) LA (E) LA (F) LA (E) LA (D) LA (C) LA (B) LA (E) LA (F) LA",
            ),
            form(
                "D",
                "E..HA",
                "LG (B) LA (E) LA (F) LA (E) LA (D) LA (C) LA (B) LA (E) LA (F) LA",
            )
            .because(B_FROM_D_TO_LOW_A),
            form(
                "LG",
                "E..HA",
                "(D) LA (E) LA (F) LA (E) LA (D) LA (C) LA (B) LA (E) LA (F) LA",
            )
            .because(LOW_G_SOUNDS),
        ],
        &[LONG_OVER_LOW_G],
        &["crunluath", "taorluath", "grip", "doubling"],
    )
    .taught(VARIATION
            .made_of(&[(When::Always, &["long-variation-to-c", "crunluath"])])
            .shown_between(Note::LowA, Note::E)
            .pace(Pace::LongVariation)),
];
