//! Pitch and level.

use serde::{Deserialize, Serialize};

/// A frequency in hertz, above 0.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Hertz(pub f64);

/// A pitch interval in cents: 1200 to the octave, positive upward.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Cents(pub f64);

impl Cents {
    /// The interval from `low` to `high`.
    pub fn between(low: Hertz, high: Hertz) -> Self {
        Self(1200.0 * (high.0 / low.0).log2())
    }
}

impl Hertz {
    /// This frequency moved by an interval.
    #[must_use]
    pub fn shifted(self, by: Cents) -> Self {
        Self(self.0 * (by.0 / 1200.0).exp2())
    }
}

/// A linear amplitude factor, 0 upward; 1 leaves a signal as it is.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Gain(pub f32);

/// A level in decibels: 0 leaves a signal as it is.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Decibels(pub f32);

/// A measured level in decibels of full scale: a full-scale sine has −3 dB, silence has −∞ dB.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct FullScale(pub f64);

impl std::fmt::Display for FullScale {
    /// Writes the number without its unit, with the requested precision.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

impl Decibels {
    /// The amplitude factor, 10^(dB/20).
    pub fn gain(self) -> Gain {
        Gain(10.0_f32.powf(self.0 / 20.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_octave_is_1200_cents_and_6_db_about_doubles() {
        assert!((Cents::between(Hertz(240.0), Hertz(480.0)).0 - 1200.0).abs() < 1e-9);
        assert!((Hertz(240.0).shifted(Cents(1200.0)).0 - 480.0).abs() < 1e-9);
        assert!((Decibels(6.0206).gain().0 - 2.0).abs() < 1e-4);
    }
}
