//! Log-probabilities of frames -> the likeliest row of segments.
//!
//! The classes are numbers: nine notes and, last, none. The path is found by Viterbi's algorithm
//! (IEEE Trans. Inf. Theory 13, 1967); each class lasts at least some frames once it has begun. A
//! segment is handed on when all paths that are still possible agree on it, which bounds what is
//! remembered.

use gracerung_net::CLASSES;

/// The class of no note.
pub(super) const NONE: usize = CLASSES - 1;
/// Shortest segment, frames: 4 ms on a practice chanter, 2 ms on pipes. The trade's facts name 5 ms
/// as the shortest crossing noise that is told.
const SHORTEST: usize = 4;
/// How often settled segments are looked for, in frames. A note comes out later by that much at
/// most; one look costs as much as a few frames.
const SETTLED_EVERY: u64 = 32;
/// A segment older than this, frames, is settled by the best path alone: in music no path has
/// stayed open for half as long.
const OPEN: u64 = 2500;

/// A run of frames of one class.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Segment {
    pub class: usize,
    /// First frame.
    pub start: u64,
    /// The frame after its last one.
    pub end: u64,
}

/// What changes of class cost, in nats.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Prices {
    /// By the class that ends and the class that begins.
    pub change: [[f32; CLASSES]; CLASSES],
}

/// A segment that has ended on some path, and what came before it on that path.
#[derive(Debug, Clone, Copy)]
struct Node {
    segment: Segment,
    before: Option<usize>,
    /// How many segments came before it.
    depth: u64,
}

/// A path that is still possible.
#[derive(Debug, Clone, Copy)]
struct Survivor {
    score: f64,
    /// Where its open segment began.
    start: u64,
    before: Option<usize>,
}

const DEAD: Survivor = Survivor {
    score: f64::NEG_INFINITY,
    start: 0,
    before: None,
};

/// The likeliest path so far.
pub(super) struct Path {
    /// What it costs to go from class to class; a class never goes to itself.
    prices: [[f64; CLASSES]; CLASSES],
    /// The best path by its class and by how many frames its open segment has lasted; the last
    /// place is for `SHORTEST` and more.
    survivors: [[Survivor; SHORTEST]; CLASSES],
    nodes: Vec<Node>,
    frames: u64,
    settled: Vec<Segment>,
}

impl Path {
    /// A path before its first frame: the sound may begin with any note or with none.
    pub(super) fn new(prices: &Prices) -> Self {
        let mut survivors = [[DEAD; SHORTEST]; CLASSES];
        for survivor in &mut survivors {
            // a note that sounds at the start may have begun before it, so no least length is asked
            // of it
            survivor[SHORTEST - 1].score = 0.0;
        }
        let mut path = Self {
            prices: [[0.0; CLASSES]; CLASSES],
            survivors,
            nodes: Vec::new(),
            frames: 0,
            settled: Vec::new(),
        };
        path.price(prices);
        path
    }

    /// Sets other prices from the next frame on.
    pub(super) fn price(&mut self, prices: &Prices) {
        self.prices = prices.change.map(|from| from.map(f64::from));
        for class in 0..CLASSES {
            self.prices[class][class] = f64::INFINITY;
        }
    }

    /// Takes the next frame's log-probabilities.
    pub(super) fn push(&mut self, frame: &[f32; CLASSES]) {
        let ended: [Survivor; CLASSES] = self.survivors.map(|of_class| of_class[SHORTEST - 1]);
        let best = self.best_ways(&ended);
        let mut closed: [Option<usize>; CLASSES] = [None; CLASSES];
        for (class, log) in frame.iter().enumerate() {
            let log = f64::from(*log);
            let entered = self.enter(best[class], &ended, &mut closed);
            let of_class = &mut self.survivors[class];
            let stays = of_class[SHORTEST - 1];
            let grown = of_class[SHORTEST - 2];
            of_class.copy_within(0..SHORTEST - 1, 1);
            of_class[SHORTEST - 1] = if grown.score > stays.score {
                grown
            } else {
                stays
            };
            of_class[0] = entered;
            for survivor in of_class {
                survivor.score += log;
            }
        }
        self.frames += 1;
        if self.frames.is_multiple_of(SETTLED_EVERY) {
            self.settle();
        }
    }

    /// For each class, which class it is best reached from, and with what score. All are asked for
    /// at every frame, so this is written to be quick: plain numbers side by side.
    fn best_ways(&self, ended: &[Survivor; CLASSES]) -> [(f64, usize); CLASSES] {
        let mut scores = [f64::NEG_INFINITY; CLASSES];
        let mut ways = [0_u64; CLASSES];
        for (from, (ended, prices)) in (0_u64..).zip(ended.iter().zip(&self.prices)) {
            for class in 0..CLASSES {
                let score = ended.score - prices[class];
                let better = score >= scores[class];
                scores[class] = if better { score } else { scores[class] };
                ways[class] = if better { from } else { ways[class] };
            }
        }
        std::array::from_fn(|class| (scores[class], ways[class] as usize))
    }

    /// A path that comes to a class at this frame.
    fn enter(
        &mut self,
        (score, from): (f64, usize),
        ended: &[Survivor; CLASSES],
        closed: &mut [Option<usize>; CLASSES],
    ) -> Survivor {
        if !score.is_finite() {
            return DEAD;
        }
        let node = *closed[from].get_or_insert_with(|| {
            let survivor = ended[from];
            self.nodes.push(Node {
                segment: Segment {
                    class: from,
                    start: survivor.start,
                    end: self.frames,
                },
                before: survivor.before,
                depth: survivor
                    .before
                    .map_or(0, |before| self.nodes[before].depth + 1),
            });
            self.nodes.len() - 1
        });
        Survivor {
            score,
            start: self.frames,
            before: Some(node),
        }
    }

    fn alive(&self) -> impl Iterator<Item = &Survivor> {
        let all = self.survivors.iter().flatten();
        all.filter(|survivor| survivor.score.is_finite())
    }

    /// The best path now: its class, and where that began.
    fn best(&self) -> (usize, Survivor) {
        let each = self.survivors.iter().enumerate();
        let all = each.flat_map(|(class, of)| of.iter().map(move |survivor| (class, *survivor)));
        all.max_by(|one, other| one.1.score.total_cmp(&other.1.score))
            .unwrap_or((NONE, DEAD))
    }

    /// The class of the last frame on the best path so far, and the frame it began with.
    pub(super) fn now(&self) -> (usize, u64) {
        let (class, survivor) = self.best();
        (class, survivor.start)
    }

    /// Hands on the segments that all paths agree on, and forgets them and those that are on no
    /// path.
    fn settle(&mut self) {
        let agreed = self
            .alive()
            .map(|survivor| survivor.before)
            .reduce(|one, other| self.common(one, other))
            .flatten();
        let agreed = agreed.or_else(|| self.too_old());
        self.tell(agreed);
        // only differences between scores matter, so they are kept small
        let most = self.best().1.score;
        for survivor in self.survivors.iter_mut().flatten() {
            survivor.score -= most;
        }
    }

    /// The last segment that two paths share.
    fn common(&self, one: Option<usize>, other: Option<usize>) -> Option<usize> {
        let (mut one, mut other) = (one?, other?);
        while one != other {
            if self.nodes[one].depth >= self.nodes[other].depth {
                one = self.nodes[one].before?;
            } else {
                other = self.nodes[other].before?;
            }
        }
        Some(one)
    }

    /// The newest segment of the best path that is too old to stay open. Other paths end here.
    fn too_old(&mut self) -> Option<usize> {
        let limit = self.frames.saturating_sub(OPEN);
        let old = |node: &usize| self.nodes[*node].segment.end < limit;
        let mut chain = std::iter::successors(self.best().1.before, |at| self.nodes[*at].before);
        let found = chain.find(old)?;
        let on_it = |survivor: &Survivor| self.common(survivor.before, Some(found)) == Some(found);
        let kept = self.survivors.map(|of| of.map(|survivor| on_it(&survivor)));
        for (survivor, kept) in self
            .survivors
            .iter_mut()
            .flatten()
            .zip(kept.iter().flatten())
        {
            if !kept {
                *survivor = DEAD;
            }
        }
        Some(found)
    }

    /// Hands on the segments up to a node and keeps only those that some path still needs.
    fn tell(&mut self, upto: Option<usize>) {
        let chain = |from: Option<usize>| std::iter::successors(from, |at| self.nodes[*at].before);
        let mut told: Vec<Segment> = chain(upto).map(|at| self.nodes[at].segment).collect();
        told.reverse();
        let mut needed = vec![false; self.nodes.len()];
        for survivor in self.alive() {
            for at in chain(survivor.before).take_while(|at| Some(*at) != upto) {
                if std::mem::replace(&mut needed[at], true) {
                    break;
                }
            }
        }
        self.settled.append(&mut told);
        let mut places: Vec<Option<usize>> = vec![None; self.nodes.len()];
        let mut kept = Vec::new();
        for (at, node) in self.nodes.iter().enumerate() {
            if needed[at] {
                places[at] = Some(kept.len());
                let before = node.before.and_then(|before| places[before]);
                let depth = before.map_or(0, |before: usize| {
                    let before: &Node = &kept[before];
                    before.depth + 1
                });
                kept.push(Node {
                    before,
                    depth,
                    ..*node
                });
            }
        }
        self.nodes = kept;
        for survivor in self.survivors.iter_mut().flatten() {
            survivor.before = survivor.before.and_then(|before| places[before]);
        }
    }

    /// The segments that were settled since the last call, in order.
    pub(super) fn take(&mut self) -> std::vec::Drain<'_, Segment> {
        self.settled.drain(..)
    }

    /// The end of the sound: the best path to it. The last segment may be cut short.
    pub(super) fn finish(&mut self) {
        let (class, survivor) = self.best();
        self.tell(survivor.before);
        self.settled.push(Segment {
            class,
            start: survivor.start,
            end: self.frames,
        });
        self.survivors = [[DEAD; SHORTEST]; CLASSES];
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn prices(cost: f32) -> Prices {
        Prices {
            change: [[cost; CLASSES]; CLASSES],
        }
    }

    /// A frame that is sure of a class, by so many nats against each other one.
    fn sure(class: usize, nats: f32) -> [f32; CLASSES] {
        let mut frame = [-nats; CLASSES];
        frame[class] = 0.0;
        frame
    }

    fn told(frames: &[[f32; CLASSES]], cost: f32) -> Vec<Segment> {
        let mut path = Path::new(&prices(cost));
        let mut told = Vec::new();
        for frame in frames {
            path.push(frame);
            told.extend(path.take());
        }
        path.finish();
        told.extend(path.take());
        told
    }

    #[test]
    fn segments_are_those_of_the_frames() {
        let row = [(NONE, 50), (1, 300), (7, 30), (4, 6), (1, 200), (NONE, 40)];
        let frames: Vec<_> = row
            .iter()
            .flat_map(|&(class, count)| std::iter::repeat_n(sure(class, 3.0), count))
            .collect();
        let told: Vec<_> = told(&frames, 4.0)
            .iter()
            .map(|segment| (segment.class, (segment.end - segment.start) as usize))
            .collect();
        assert_eq!(told, row);
    }

    #[test]
    fn what_is_too_short_or_not_worth_its_price_is_no_segment() {
        let with = |count: usize, nats: f32| {
            let mut frames = vec![sure(1, 3.0); 100];
            frames.extend(vec![sure(2, nats); count]);
            frames.extend(vec![sure(1, 3.0); 100]);
            told(&frames, 4.0).len()
        };
        assert_eq!(with(SHORTEST - 1, 2.0), 1, "too short");
        assert_eq!(
            with(SHORTEST, 3.0),
            3,
            "12 nats for the price of two changes"
        );
        assert_eq!(with(SHORTEST, 1.5), 1, "6 nats for 8");
    }

    /// The path that is handed on piece by piece is the best path of the whole, found by trying all
    /// of them.
    #[test]
    fn it_is_the_best_of_all_paths() {
        // A generator of Numerical Recipes, for the same frames on each run.
        let mut state = 7_u32;
        let mut random = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / (1 << 24) as f32
        };
        for _ in 0..200 {
            // Two classes are possible, so that all paths of 12 frames can be tried.
            let frames: Vec<[f32; CLASSES]> = (0..12)
                .map(|_| {
                    let mut frame = [-1e6; CLASSES];
                    frame[3] = -4.0 * random();
                    frame[NONE] = -4.0 * random();
                    frame
                })
                .collect();
            let cost = 3.0 * random();
            let score = |path: u32| {
                let class = |at: usize| if path >> at & 1 == 1 { 3 } else { NONE };
                let changes: Vec<usize> = (1..12).filter(|&t| class(t) != class(t - 1)).collect();
                let short = changes.windows(2).any(|pair| pair[1] - pair[0] < SHORTEST);
                if short {
                    return f32::NEG_INFINITY;
                }
                let sum: f32 = (0..12).map(|t| frames[t][class(t)]).sum();
                sum - cost * changes.len() as f32
            };
            let best = (0..1 << 12).map(score).fold(f32::NEG_INFINITY, f32::max);
            let path = told(&frames, cost).iter().fold(0_u32, |path, segment| {
                (segment.start..segment.end)
                    .fold(path, |path, at| path | u32::from(segment.class == 3) << at)
            });
            assert!(
                (score(path) - best).abs() < 1e-3,
                "{} for {best}",
                score(path)
            );
        }
    }

    /// Without it two hours in which no note is sure would fill the memory.
    #[test]
    fn what_is_remembered_is_bounded() {
        let mut path = Path::new(&prices(1.0));
        let (mut most, mut told) = (0, 0);
        for at in 0..60_000 {
            // two classes stay as likely as each other for ever
            path.push(&if at / 7 % 2 == 0 {
                sure(2, 0.1)
            } else {
                sure(5, 0.1)
            });
            most = most.max(path.nodes.len());
            told += path.take().len();
        }
        assert!(most < 8 * OPEN as usize, "{most} nodes");
        assert!(path.frames - path.best().1.start < 60_000 || told == 0);
    }
}
