//! Musical and real time: beats, tempo, milliseconds, frames.

use super::Seconds;
use super::fraction::{Fraction, FractionError, add_product, parse_fraction, write_fraction};
use num_integer::Integer;
use num_traits::{ToPrimitive, Zero};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::ops::{Add, Mul, Neg, Sub};

/// An exact length or place in beats. The metre says what a beat is: the crotchet in 2/4, 3/4 and
/// 4/4, the dotted crotchet in 6/8, 9/8 and 12/8, the minim in 2/2.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Beats(pub Fraction);

impl Beats {
    /// No time at all.
    pub const ZERO: Self = Self(Fraction::new_raw(0, 1));
    /// One beat.
    pub const ONE: Self = Self(Fraction::new_raw(1, 1));

    /// The fraction `above`/`below` of a beat.
    ///
    /// # Panics
    /// When `below` is 0. It is meant for constants, never for input.
    pub fn new(above: i128, below: i128) -> Self {
        Self(Fraction::new(above, below))
    }

    /// A whole number of beats.
    pub fn whole(count: i128) -> Self {
        Self(Fraction::from_integer(count))
    }

    /// Reads `2`, `3/2`, `1 1/2`, `1.5`.
    ///
    /// # Errors
    /// The text is not a number; see [`FractionError`].
    pub fn parse(text: &str) -> Result<Self, FractionError> {
        parse_fraction(text).map(Self)
    }

    /// True when the length is exactly 0.
    pub fn is_zero(self) -> bool {
        self.0.is_zero()
    }

    /// The nearest float; only for pictures and reports, never for time that is played.
    pub fn to_f64(self) -> f64 {
        self.0.to_f64().unwrap_or(0.0)
    }

    /// The largest whole number of beats not above this.
    pub fn floor(self) -> Self {
        Self(self.0.floor())
    }

    /// The smallest whole number of beats not below this.
    pub fn ceil(self) -> Self {
        Self(self.0.ceil())
    }
}

impl Add for Beats {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}
impl Sub for Beats {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}
impl Neg for Beats {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}
impl Mul<Fraction> for Beats {
    type Output = Self;
    fn mul(self, factor: Fraction) -> Self {
        Self(self.0 * factor)
    }
}
impl std::iter::Sum for Beats {
    fn sum<I: Iterator<Item = Self>>(parts: I) -> Self {
        parts.fold(Self::ZERO, Add::add)
    }
}
impl std::fmt::Display for Beats {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&write_fraction(&self.0))
    }
}
impl Serialize for Beats {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// The largest part of a beat of which every length in some music is a whole multiple. It is stored
/// as the number of such parts in a beat. Sums of these lengths, and so all places, are whole
/// multiples of it too.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CommonPart(i128);

impl CommonPart {
    /// The most parts in a beat. The note values and tuplets of a tune need far fewer. With this
    /// many parts the exact frame of any place still fits in 128 bits.
    const MOST: i128 = 1 << 40;

    /// Makes the common part fine enough for `length`. Returns false and changes nothing when the
    /// part would be finer than the limit allows.
    #[must_use]
    pub fn take(&mut self, length: Beats) -> bool {
        let own = *length.0.denom();
        // Both numbers are small enough that their product does not overflow.
        let all = (own <= Self::MOST).then(|| self.0.lcm(&own));
        match all.filter(|all| *all <= Self::MOST) {
            Some(all) => {
                self.0 = all;
                true
            }
            None => false,
        }
    }
}

impl Default for CommonPart {
    /// The coarsest part: one whole beat.
    fn default() -> Self {
        Self(1)
    }
}

/// A tempo in beats a minute, exact, 20 to 300.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Bpm(Fraction);

/// Why a tempo is not accepted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BpmError {
    /// The text is not a number.
    NotANumber(FractionError),
    /// Below 20 or above 300.
    OutOfRange(Fraction),
}

impl std::fmt::Display for BpmError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotANumber(error) => error.fmt(f),
            Self::OutOfRange(value) => write!(
                f,
                "tempo `{}` is outside 20 to 300 beats a minute",
                write_fraction(value)
            ),
        }
    }
}
impl std::error::Error for BpmError {}

impl Bpm {
    /// The slowest tempo, beats a minute.
    pub const SLOWEST: i128 = 20;
    /// The quickest tempo, beats a minute.
    pub const QUICKEST: i128 = 300;

    /// The usual first tempo of the ladders of the built-in drills.
    pub const FIFTY: Self = Self(Fraction::new_raw(50, 1));
    /// Where the ladders of the drills that come with the program usually end.
    pub const EIGHTY: Self = Self(Fraction::new_raw(80, 1));

    /// A tempo from an exact value in beats a minute.
    ///
    /// # Errors
    /// The value is below 20 or above 300.
    pub fn new(value: Fraction) -> Result<Self, BpmError> {
        if value < Fraction::from_integer(Self::SLOWEST)
            || value > Fraction::from_integer(Self::QUICKEST)
        {
            return Err(BpmError::OutOfRange(value));
        }
        Ok(Self(value))
    }

    /// A tempo of a whole number of beats a minute.
    ///
    /// # Errors
    /// The value is below 20 or above 300.
    pub fn whole(value: i128) -> Result<Self, BpmError> {
        Self::new(Fraction::from_integer(value))
    }

    /// Reads a tempo in beats a minute: `66`, `66.5`, `133/2`.
    ///
    /// # Errors
    /// The text is not a number, or the number is below 20 or above 300.
    pub fn parse(text: &str) -> Result<Self, BpmError> {
        Self::new(parse_fraction(text).map_err(BpmError::NotANumber)?)
    }

    /// Beats a minute, exact.
    pub fn value(self) -> Fraction {
        self.0
    }

    /// Beats a minute as a float; for pictures and reports.
    pub fn to_f64(self) -> f64 {
        self.0.to_f64().unwrap_or(0.0)
    }

    /// One beat in milliseconds, exact.
    pub fn beat(self) -> Millis {
        Millis(Fraction::from_integer(60_000) / self.0)
    }
}
impl std::fmt::Display for Bpm {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&write_fraction(&self.0))
    }
}
impl Serialize for Bpm {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}
impl<'de> Deserialize<'de> for Bpm {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

/// An exact length in milliseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Millis(pub Fraction);

impl Millis {
    /// A whole number of milliseconds.
    pub fn whole(count: i128) -> Self {
        Self(Fraction::from_integer(count))
    }

    /// The same length in beats at a tempo, exact.
    pub fn to_beats(self, tempo: Bpm) -> Beats {
        Beats(self.0 * tempo.value() / Fraction::from_integer(60_000))
    }

    /// The length in milliseconds as a float, for pictures and reports.
    pub fn to_f64(self) -> f64 {
        self.0.to_f64().unwrap_or(0.0)
    }
}
impl std::fmt::Display for Millis {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&write_fraction(&self.0))
    }
}

/// A sample rate in frames a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SampleRate(pub u32);

impl SampleRate {
    /// The sample rate used when no device sets another one.
    pub const USUAL: Self = Self(48_000);

    /// Frames in one beat at a tempo, exact.
    pub fn frames_per_beat(self, tempo: Bpm) -> Fraction {
        Fraction::from_integer(60 * i128::from(self.0)) / tempo.value()
    }
}

/// A number of frames. A frame is one sample of every channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Frames(pub u64);

impl Frames {
    /// The frame at which a moment sounds: round(`origin` + `beats`·60·rate/tempo), halves upward.
    /// `origin` is in frames. Moments before frame 0 give frame 0.
    ///
    /// Thread: any. Allocates: no. Blocks: no.
    pub fn of(origin: Fraction, beats: Beats, rate: SampleRate, tempo: Bpm) -> Self {
        let exact = add_product(&origin, &beats.0, &rate.frames_per_beat(tempo));
        let rounded = exact.map_or(0, |exact| round_half_up(&exact));
        Self(u64::try_from(rounded).unwrap_or(0))
    }

    /// Length in seconds at a rate.
    pub fn seconds(self, rate: SampleRate) -> Seconds {
        Seconds(self.0 as f64 / f64::from(rate.0))
    }
}

/// The nearest integer, halves upward, without an intermediate product that could overflow.
fn round_half_up(value: &Fraction) -> i128 {
    let floor = value.floor().to_integer();
    let rest = value - Fraction::from_integer(floor);
    if rest >= Fraction::new(1, 2) {
        floor + 1
    } else {
        floor
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tempo(text: &str) -> Bpm {
        Bpm::parse(text).expect("a tempo")
    }

    /// Frame counts that are added up beat by beat drift; exact moments do not.
    #[test]
    fn a_click_after_ten_hours_is_no_frame_off() {
        // By hand: ten hours at 97 beats a minute are 58 200 beats, and at 44.1 kHz 1 587 600 000
        // frames.
        let frame = Frames::of(
            Fraction::zero(),
            Beats::whole(58_200),
            SampleRate(44_100),
            tempo("97"),
        );
        assert_eq!(frame, Frames(1_587_600_000));
    }

    #[test]
    fn frames_round_halves_upward() {
        // At 60 beats a minute and 32 Hz, 1/64 of a beat is half a frame.
        let half = Beats::new(1, 64);
        assert_eq!(
            Frames::of(Fraction::zero(), half, SampleRate(32), tempo("60")),
            Frames(1)
        );
    }

    #[test]
    fn milliseconds_become_an_exact_fraction_of_a_beat() {
        assert_eq!(Millis::whole(35).to_beats(tempo("50")), Beats::new(7, 240));
        assert_eq!(tempo("50").beat(), Millis::whole(1200));
    }

    #[test]
    fn a_tempo_outside_20_to_300_is_refused() {
        assert!(Bpm::parse("19.9").is_err());
        assert!(Bpm::parse("300.1").is_err());
        assert!(Bpm::parse("20").is_ok());
        assert!(Bpm::parse("300").is_ok());
        assert_eq!(tempo("66.5").to_string(), "133/2");
    }
}
