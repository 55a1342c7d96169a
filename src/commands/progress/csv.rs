//! Progress as CSV (RFC 4180), for a spreadsheet.

use crate::planning::{HeardApart, Progress};
use jiff::civil::Date;
use std::fmt::Write as _;

/// A field, quoted where CSV requires it (RFC 4180).
fn field(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// The cells as CSV, one row for each cell.
pub(super) fn cells(found: &Progress) -> String {
    let mut text =
        "drill,stage,tempo,clean,of,chance,low,high,cleared,last,due,held,by_heart\r\n".to_owned();
    for cell in &found.cells {
        let day = |day: Option<Date>| day.map_or_else(String::new, |day| day.to_string());
        let _ = write!(
            text,
            "{},{},{},{},{},{:.4},{:.4},{:.4},{},{},{},{},{}\r\n",
            field(&cell.drill),
            field(&cell.stage),
            cell.rung,
            cell.chance.clean,
            cell.chance.of,
            cell.chance.mean,
            cell.chance.low,
            cell.chance.high,
            day(cell.cleared),
            cell.last,
            day(cell.due),
            day(cell.held),
            cell.by_heart,
        );
    }
    text
}

/// The results of `hear` as CSV, one row for each day and kind of fault.
pub(super) fn heard_apart(lines: &[HeardApart]) -> String {
    let mut text = "day,drill,fault,what,threshold_ms,low_ms,high_ms,right,answers\r\n".to_owned();
    for line in lines {
        let threshold = line
            .threshold
            .map_or_else(String::new, |ms| format!("{ms:.1}"));
        let _ = write!(
            text,
            "{},{},{},{},{threshold},{:.1},{:.1},{},{}\r\n",
            line.day,
            field(&line.drill),
            line.difference.name(),
            field(&line.what),
            line.low,
            line.high,
            line.right,
            line.answers,
        );
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_with_a_comma_stays_one_field() {
        assert_eq!(field("grip, light"), "\"grip, light\"");
        assert_eq!(field("say \"la\""), "\"say \"\"la\"\"\"");
    }
}
