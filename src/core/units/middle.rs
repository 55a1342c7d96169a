//! The middle of some numbers. It knows nothing of what they count.

/// The median: the middle value, of an even number the mean of the middle two; none of none. Puts the
/// values in order.
///
/// Of few values the upper of the two would lean one way: low A came out a cent sharp by it.
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let upper = *values.get(values.len() / 2)?;
    let lower = values[(values.len() - 1) / 2];
    Some(0.5 * (lower + upper))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Without it what is measured few times would be told too great.
    #[test]
    fn of_two_the_middle_lies_between() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [3.0]), Some(3.0));
        assert_eq!(median(&mut [4.0, 1.0]), Some(2.5));
        assert_eq!(median(&mut [9.0, 1.0, 2.0]), Some(2.0));
    }
}
