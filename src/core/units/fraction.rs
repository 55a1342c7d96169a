//! Exact fractions, how they are read from text, and how they are written for programs and for
//! people.

use num_rational::Ratio;
use num_traits::{CheckedAdd, CheckedMul, Zero};

/// An exact fraction. 128 bits are enough for the exact frame of any event in ten hours, at every
/// rate, tempo and written length that this program accepts.
pub type Fraction = Ratio<i128>;

/// Why a text cannot be read as a fraction.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FractionError {
    /// The text is empty or only white space.
    Empty,
    /// A character is neither a digit, a decimal point, a fraction stroke nor a vulgar sign.
    NotANumber(String),
    /// The number below the stroke is 0.
    ZeroDenominator(String),
    /// One side of the point or stroke has more digits than a length in beats ever needs.
    TooLong(String),
}

impl std::fmt::Display for FractionError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => write!(f, "expected a number, found nothing"),
            Self::NotANumber(text) => {
                write!(
                    f,
                    "expected a number such as `2`, `1/2`, `1 1/2` or `1.5`, found `{text}`"
                )
            }
            Self::ZeroDenominator(text) => write!(f, "`{text}` divides by nothing"),
            Self::TooLong(text) => write!(
                f,
                "`{text}` has too many digits: at most six on each side of a point or stroke"
            ),
        }
    }
}

impl std::error::Error for FractionError {}

/// The most digits read on one side of a point or stroke.
const MOST_DIGITS: usize = 6;

/// Reads `2`, `3/2`, `1 1/2`, `1.5` and the vulgar signs `½ ¼ ¾ ⅛ 1½`, each exactly.
///
/// # Errors
/// The text is none of these forms; see [`FractionError`].
pub fn parse_fraction(text: &str) -> Result<Fraction, FractionError> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(FractionError::Empty);
    }
    let (negative, body) = match trimmed.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, trimmed),
    };
    let mut spaced = String::new();
    for sign in body.chars() {
        match vulgar(sign) {
            Some(plain) => {
                spaced.push(' ');
                spaced.push_str(plain);
            }
            None => spaced.push(sign),
        }
    }
    let mut words = spaced.split_whitespace();
    let first = words.next().ok_or(FractionError::Empty)?;
    let value = match words.next() {
        None => word(first, trimmed)?,
        Some(second) => {
            if first.contains(['/', '.']) || !second.contains('/') || words.next().is_some() {
                return Err(FractionError::NotANumber(trimmed.to_owned()));
            }
            word(first, trimmed)? + word(second, trimmed)?
        }
    };
    Ok(if negative { -value } else { value })
}

fn vulgar(sign: char) -> Option<&'static str> {
    Some(match sign {
        '½' => "1/2",
        '¼' => "1/4",
        '¾' => "3/4",
        '⅓' => "1/3",
        '⅔' => "2/3",
        '⅛' => "1/8",
        '⅜' => "3/8",
        '⅝' => "5/8",
        '⅞' => "7/8",
        _ => return None,
    })
}

fn word(word: &str, whole: &str) -> Result<Fraction, FractionError> {
    if let Some((above, below)) = word.split_once('/') {
        let below = digits(below, whole)?;
        if below == 0 {
            return Err(FractionError::ZeroDenominator(whole.to_owned()));
        }
        return Ok(Fraction::new(digits(above, whole)?, below));
    }
    if let Some((units, tail)) = word.split_once('.') {
        let units = if units.is_empty() {
            0
        } else {
            digits(units, whole)?
        };
        let scale = 10_i128.pow(tail.len().min(MOST_DIGITS) as u32);
        return Ok(Fraction::new(units * scale + digits(tail, whole)?, scale));
    }
    Ok(Fraction::from_integer(digits(word, whole)?))
}

fn digits(text: &str, whole: &str) -> Result<i128, FractionError> {
    if text.is_empty() || !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(FractionError::NotANumber(whole.to_owned()));
    }
    if text.len() > MOST_DIGITS {
        return Err(FractionError::TooLong(whole.to_owned()));
    }
    text.parse()
        .map_err(|_| FractionError::TooLong(whole.to_owned()))
}

/// Writes a fraction for programs: `n`, or improper `n/d` in lowest terms (`3/2`, never `1 1/2` or
/// `1.5`).
pub fn write_fraction(value: &Fraction) -> String {
    if value.is_integer() {
        value.numer().to_string()
    } else {
        format!("{}/{}", value.numer(), value.denom())
    }
}

/// Writes a fraction for people: `1½`, `¾`, `2`, `1 5/12`.
pub fn spell_fraction(value: &Fraction) -> String {
    if *value < Fraction::zero() {
        return format!("−{}", spell_fraction(&-value));
    }
    let whole = value.to_integer();
    let rest = value - Fraction::from_integer(whole);
    if rest.is_zero() {
        return whole.to_string();
    }
    let sign = match (rest.numer(), rest.denom()) {
        (1, 2) => "½",
        (1, 4) => "¼",
        (3, 4) => "¾",
        (1, 3) => "⅓",
        (2, 3) => "⅔",
        (1, 8) => "⅛",
        (3, 8) => "⅜",
        (5, 8) => "⅝",
        (7, 8) => "⅞",
        (above, below) => {
            return if whole == 0 {
                format!("{above}/{below}")
            } else {
                format!("{whole} {above}/{below}")
            };
        }
    };
    if whole == 0 {
        sign.to_owned()
    } else {
        format!("{whole}{sign}")
    }
}

/// `a + b·c`; none when the result does not fit in 128 bits.
pub(crate) fn add_product(a: &Fraction, b: &Fraction, c: &Fraction) -> Option<Fraction> {
    a.checked_add(&b.checked_mul(c)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn reads(text: &str, above: i128, below: i128) {
        assert_eq!(
            parse_fraction(text),
            Ok(Fraction::new(above, below)),
            "{text}"
        );
    }

    /// Every spelling a player may type must give the same exact value.
    #[test]
    fn every_spelling_is_read_exactly() {
        reads("2", 2, 1);
        reads("1/2", 1, 2);
        reads("3/2", 3, 2);
        reads("1 1/2", 3, 2);
        reads("1.5", 3, 2);
        reads("66.5", 133, 2);
        reads("133/2", 133, 2);
        reads(" 1½ ", 3, 2);
        reads("¼", 1, 4);
        reads("1 ¾", 7, 4);
        reads("0.1", 1, 10);
        reads(".5", 1, 2);
        reads("-1/2", -1, 2);
    }

    /// A typing slip must give an error, not another number.
    #[test]
    fn a_slip_is_an_error() {
        for text in [
            "",
            "x",
            "1/0",
            "1/2/3",
            "1 2",
            "1.5 1/2",
            "1 1/2 1/2",
            "1e3",
            "12345678",
            "1/",
            "--1",
            "٣",
        ] {
            assert!(parse_fraction(text).is_err(), "{text} was read");
        }
    }

    /// Programs read improper fractions; people read mixed numbers with vulgar signs.
    #[test]
    fn programs_get_improper_fractions_and_people_get_signs() {
        let value = Fraction::new(6, 4);
        assert_eq!(write_fraction(&value), "3/2");
        assert_eq!(spell_fraction(&value), "1½");
        assert_eq!(write_fraction(&Fraction::new(4, 2)), "2");
        assert_eq!(spell_fraction(&Fraction::new(17, 12)), "1 5/12");
        assert_eq!(spell_fraction(&Fraction::new(-1, 2)), "−½");
    }
}
