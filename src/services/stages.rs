//! Finds a stage of a drill by its number or name.
use super::Failure;
use crate::drill::{Drill, Stage};
use crate::wording;

/// Finds a stage by its number from 1, or by its name.
///
/// # Errors
/// There is no such stage; the message lists all stages.
pub(crate) fn stage<'a>(drill: &'a Drill, wanted: &str) -> Result<(usize, &'a Stage), Failure> {
    let by_number = wanted
        .trim()
        .parse::<usize>()
        .ok()
        .and_then(|number| number.checked_sub(1));
    let plain = |text: &str| text.to_lowercase().replace(['-', '_'], " ");
    let found = match by_number {
        Some(index) => Some(index),
        None => drill
            .stages
            .iter()
            .position(|stage| plain(&stage.name) == plain(wanted.trim())),
    };
    if let Some(index) = found
        && let Some(stage) = drill.stages.get(index)
    {
        return Ok((index, stage));
    }
    let names: Vec<String> = drill
        .stages
        .iter()
        .enumerate()
        .map(|(index, stage)| format!("{} `{}`", index + 1, stage.name))
        .collect();
    Err(Failure(format!(
        "`{}` has no stage `{wanted}`: expected {}",
        drill.title,
        wording::choice(&names)
    )))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{built_in, read};

    #[test]
    fn a_stage_is_found_by_number_and_by_name() {
        let drill = built_in("grip-from-d").expect("built in");
        let (drill, _) = read(drill.text.as_bytes());
        let drill = drill.expect("it reads");
        let index = |wanted: &str| stage(&drill, wanted).map(|(index, _)| index).ok();
        assert_eq!(index("1"), Some(0));
        assert_eq!(index("Half Beats"), Some(1));
        assert_eq!(index("real-time"), Some(4));
        assert_eq!(index("0"), None);
        assert_eq!(index("6"), None);
        assert_eq!(index("nothing"), None);
    }
}
