//! Times that were measured or are compared with what was: floats, because no ear is exact.

use serde::{Deserialize, Serialize};

/// A measured length in milliseconds. Written lengths are exact: [`Millis`](super::Millis).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Milliseconds(pub f64);

impl Milliseconds {
    /// The larger of two.
    #[must_use]
    pub fn max(self, other: Self) -> Self {
        Self(self.0.max(other.0))
    }
}

impl std::fmt::Display for Milliseconds {
    /// The number alone, with the precision that is asked for.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

/// A measured time or length in seconds.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seconds(pub f64);

impl std::fmt::Display for Seconds {
    /// The number alone, with the precision that is asked for.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}
