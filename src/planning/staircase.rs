//! The adaptive ladder: three clean in a row go a rung up, one that is not clean a rung down.
//!
//! A transformed up-down staircase of Levitt (Transformed up-down methods in psychoacoustics, JASA
//! 49, 1971, 467–477, table I): it settles where three in a row are as likely as not, at a chance of
//! 0.5^(1/3) = 79.4 %.

use crate::practice::Mark;

/// A place on a ladder of so many rungs, and the clean ones in a row there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Staircase {
    /// The rung, from 0.
    pub rung: usize,
    /// Clean ones in a row on it.
    pub run: u32,
    /// Clean ones that go a rung up: 3 in the usual form.
    pub up_after: u32,
}

impl Staircase {
    /// Begins on a rung, three clean up.
    pub fn at(rung: usize) -> Self {
        Self {
            rung,
            run: 0,
            up_after: 3,
        }
    }

    /// The staircase after a mark, on a ladder of so many rungs.
    pub fn step(self, mark: Mark, rungs: usize) -> Self {
        let last = rungs.saturating_sub(1);
        match mark {
            Mark::NotClean => Self {
                rung: self.rung.saturating_sub(1).min(last),
                run: 0,
                ..self
            },
            Mark::Clean if self.run + 1 >= self.up_after => Self {
                rung: (self.rung + 1).min(last),
                run: 0,
                ..self
            },
            Mark::Clean => Self {
                run: self.run + 1,
                ..self
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A generator of our own so that the test is the same on every machine: xorshift64*
    /// (Vigna, ACM TOMS 42, 2016).
    struct Dice(u64);
    impl Dice {
        fn roll(&mut self) -> f64 {
            self.0 ^= self.0 >> 12;
            self.0 ^= self.0 << 25;
            self.0 ^= self.0 >> 27;
            (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
        }
    }

    /// The chance at the mean of the reversals, for a player whose chance falls with the rung.
    fn settles(up_after: u32) -> f64 {
        let (rungs, middle, width) = (400, 200.0, 40.0);
        let chance = |rung: f64| 1.0 / (1.0 + ((rung - middle) / width).exp());
        let mut dice = Dice(20_240_229);
        let mut stairs = Staircase {
            up_after,
            ..Staircase::at(150)
        };
        let (mut reversals, mut count, mut rising) = (0.0, 0.0, true);
        for trial in 0..200_000 {
            let mark = if dice.roll() < chance(stairs.rung as f64) {
                Mark::Clean
            } else {
                Mark::NotClean
            };
            let next = stairs.step(mark, rungs);
            if next.rung != stairs.rung {
                if trial > 2_000 && (next.rung > stairs.rung) != rising {
                    reversals += stairs.rung as f64;
                    count += 1.0;
                }
                rising = next.rung > stairs.rung;
            }
            stairs = next;
        }
        chance(reversals / count)
    }

    /// Levitt 1971, table I: one up 50 %, two up 70.7 %, three up 79.4 %, four up 84.1 %.
    #[test]
    fn it_settles_where_the_published_table_says() {
        for (up_after, published) in [(1, 0.5), (2, 0.707), (3, 0.794), (4, 0.841)] {
            let found = settles(up_after);
            assert!(
                (found - published).abs() < 0.01,
                "{up_after}: {found} {published}"
            );
        }
    }

    #[test]
    fn it_stays_on_the_ladder() {
        let bottom = Staircase::at(0).step(Mark::NotClean, 5);
        assert_eq!(bottom.rung, 0);
        let top = (0..9).fold(Staircase::at(4), |stairs, _| stairs.step(Mark::Clean, 5));
        assert_eq!(top.rung, 4);
        assert_eq!(Staircase::at(3).step(Mark::Clean, 0).rung, 3);
    }
}
