//! Spends few repetitions well: how far up the ladder each stage of a generated drill goes, and the
//! stage that opens the movement.

use super::fields::{exact_percent, ladder};
use crate::drill::document::{Exact, LadderDocument, OpeningDocument, StageDocument};
use crate::drill::ladder::{Step, lengths_down, rungs};

use crate::movement::Lengths;
use crate::units::{Bpm, Fraction, Millis};

/// The most clean repetitions that a generated drill requires (chosen: nobody plays 260 for one
/// movement).
const MOST: usize = 120;
/// Choices of the clean repetitions in a row that clear a cell and of the least rungs of a
/// written-out stage, the best first. A movement with very many stages first requires fewer
/// repetitions in a row.
const THOROUGH: [(u32, usize); 4] = [(5, 2), (5, 1), (4, 1), (3, 1)];
/// The steps of the ladder in per cent, the finest first. A step of 6 to 8 per cent is clearly felt
/// (computed from Drake & Botte 1993); larger steps are for drills with many stages.
const STEPS: [u32; 5] = [6, 8, 10, 12, 15];
/// The most rungs of a written-out stage, and of a stage after real time (both chosen).
const MOST_WRITTEN: usize = 4;
const MOST_AFTER: usize = 3;
/// The length of tones with which an opening begins, in milliseconds.
const OPENS_AT: i128 = 300;

/// The stages with their tempi, and the ladder.
pub(super) struct Spent {
    pub(super) stages: Vec<StageDocument>,
    pub(super) ladder: LadderDocument,
    pub(super) clean: u32,
}

/// How far each kind of stage goes up the ladder.
struct Shares {
    clean: u32,
    step: u32,
    tempi: Vec<Bpm>,
    /// The number of rungs of a stage before real time.
    written: usize,
    /// The number of rungs of a stage after real time.
    after: usize,
}

/// Gives each stage its part of a ladder between two tempi. The written-out stages before `main`
/// end early. The main stage, in real time, goes to the top. The stages after it have few rungs.
/// When the movement opens, a stage that closes it up comes before the main one, at the tempo where
/// the written-out stages end.
pub(super) fn spend(
    mut stages: Vec<StageDocument>,
    main: usize,
    opens: bool,
    (from, to): (Bpm, Bpm),
) -> Spent {
    let after = stages.len().saturating_sub(main + 1);
    let Some(shares) = shares(main, after, opens, (from, to)) else {
        // There are more stages than repetitions to share, so each stage keeps its whole ladder.
        return Spent {
            stages,
            ladder: ladder(from, to, exact_percent(STEPS[0])),
            clean: THOROUGH[0].0,
        };
    };
    let Shares { step, tempi, .. } = &shares;
    let tempo = |at: usize| tempi.get(at).map(|tempo| Exact::of(&tempo.value()));
    let start = if opens { shares.written - 1 } else { 0 };
    for (place, stage) in stages.iter_mut().enumerate() {
        stage.up_to = match place.cmp(&main) {
            std::cmp::Ordering::Less => tempo(shares.written - 1),
            std::cmp::Ordering::Equal => None,
            std::cmp::Ordering::Greater => tempo(start + shares.after - 1),
        };
    }
    if let Some(at) = tempo(start).filter(|_| opens) {
        let opening = StageDocument {
            name: "closing up".to_owned(),
            opening: Some(OpeningDocument {
                from: Some(Exact::of(&Fraction::from_integer(OPENS_AT))),
                at,
            }),
            ..StageDocument::default()
        };
        stages.insert(main, opening);
    }
    Spent {
        ladder: ladder(from, to, exact_percent(*step)),
        clean: shares.clean,
        stages,
    }
}

/// The finest ladder with few enough cells. It gives the written-out stages two rungs or more where
/// that is possible.
fn shares(main: usize, after: usize, opens: bool, (from, to): (Bpm, Bpm)) -> Option<Shares> {
    for (clean, least) in THOROUGH {
        let most = MOST / clean as usize;
        for step in STEPS {
            let percent = Step::Percent(Fraction::from_integer(i128::from(step)));
            let tempi = rungs(from, to, percent).ok()?;
            for written in (least..=MOST_WRITTEN.min(tempi.len())).rev() {
                let (start, lengths) = if opens {
                    let real = Lengths::default().tone_at(tempi[written - 1]);
                    (
                        written - 1,
                        lengths_down(Millis::whole(OPENS_AT), real).len(),
                    )
                } else {
                    (0, 0)
                };
                let real_time = tempi.len() - start;
                for share in (1..=MOST_AFTER.min(real_time)).rev() {
                    let cells = main * written + lengths + real_time + after * share;
                    if cells <= most {
                        return Some(Shares {
                            clean,
                            step,
                            tempi,
                            written,
                            after: share,
                        });
                    }
                }
            }
        }
    }
    None
}
