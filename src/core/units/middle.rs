//! The median. This file knows nothing of what the numbers mean.

/// The median: the middle value, or the mean of the two middle values when their number is even.
/// None for an empty slice. Sorts `values` in place.
///
/// Taking the upper of two middle values would bias small samples upward: it made low A one cent
/// sharp.
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let upper = *values.get(values.len() / 2)?;
    let lower = values[(values.len() - 1) / 2];
    Some(0.5 * (lower + upper))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// With two values the upper one alone would make every small sample too large.
    #[test]
    fn of_two_the_middle_lies_between() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [3.0]), Some(3.0));
        assert_eq!(median(&mut [4.0, 1.0]), Some(2.5));
        assert_eq!(median(&mut [9.0, 1.0, 2.0]), Some(2.0));
    }
}
