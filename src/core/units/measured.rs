//! Times that were measured, or that are compared with measured times. They are floats, because no
//! measurement is exact.

use serde::{Deserialize, Serialize};
use std::ops::{Add, Div, Mul, Neg, Sub};

/// A measured length in milliseconds. Written lengths are exact and use [`Millis`](super::Millis).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Milliseconds(pub f64);

/// A measured time or length in seconds.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seconds(pub f64);

impl Milliseconds {
    /// The same time in seconds.
    pub fn seconds(self) -> Seconds {
        Seconds(self.0 * 1e-3)
    }
}

impl Seconds {
    /// The same time in milliseconds.
    pub fn milliseconds(self) -> Milliseconds {
        Milliseconds(self.0 * 1e3)
    }
}

/// The arithmetic that both units share. Two times of one unit are added and compared; a time is
/// multiplied by a factor; a time divided by another gives a plain number.
macro_rules! measured_time {
    ($unit:ident) => {
        impl $unit {
            /// The larger of two times.
            #[must_use]
            pub fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            /// The smaller of two.
            #[must_use]
            pub fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            /// The same time without its sign.
            #[must_use]
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// The order of two times for sorting. Values that are not numbers are ordered too.
            pub fn total_cmp(&self, other: &Self) -> std::cmp::Ordering {
                self.0.total_cmp(&other.0)
            }
        }

        impl Add for $unit {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl Sub for $unit {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl Neg for $unit {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl Mul<f64> for $unit {
            type Output = Self;
            fn mul(self, factor: f64) -> Self {
                Self(self.0 * factor)
            }
        }

        impl Div for $unit {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }

        impl std::fmt::Display for $unit {
            /// Writes the number without its unit, with the requested precision.
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }
    };
}

measured_time!(Milliseconds);
measured_time!(Seconds);

#[cfg(test)]
mod tests {
    use super::*;

    /// A wrong factor of a thousand would be mistaken for a fault of the player.
    #[test]
    fn a_second_is_a_thousand_milliseconds() {
        assert_eq!(Seconds(0.25).milliseconds(), Milliseconds(250.0));
        assert_eq!(Milliseconds(250.0).seconds(), Seconds(0.25));
        assert_eq!((Seconds(0.5) - Seconds(2.0)).abs() * 2.0, Seconds(3.0));
        assert_eq!(format!("{:.1}", -Milliseconds(40.0)), "-40.0");
    }
}
