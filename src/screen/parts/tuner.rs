//! Draws the note that sounds, its pitch on a scale, how evenly it is held, and the level.
//! Everything is shown by signs and figures, and nothing by colour alone.

use super::{fitted, put};
use crate::listening::HeardNow;
use crate::screen::Theme;
use crate::units::FullScale;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

/// The cents at each end of the scale. A note beyond that is badly blown, and from ±60 cents on it
/// is nearer to another note.
pub(super) const HALF: f64 = 30.0;

/// A level meter such as `▮▮▮▯▯`. Each block is 12 dB, and the last one ends at full scale.
pub(super) fn meter(level: FullScale) -> String {
    let steps = ((level.0 + 60.0) / 12.0).ceil().clamp(0.0, 5.0) as usize;
    (0..5)
        .map(|step| if step < steps { '▮' } else { '▯' })
        .collect()
}

/// The scale from flat to sharp, an odd number of columns wide. Its middle is a line and the note a
/// diamond, or an arrow where the note lies beyond the end.
pub(super) fn scale(columns: u16, cents: Option<f64>) -> String {
    let half = i32::from(columns.saturating_sub(1) / 2);
    let place = cents.map(|cents| (cents / HALF * f64::from(half)).round() as i32);
    (-half..=half)
        .map(|at| match place {
            Some(place) if place < -half && at == -half => '◀',
            Some(place) if place > half && at == half => '▶',
            Some(place) if place == at => '◆',
            _ if at == 0 => '┼',
            _ if at.abs() == half => '├',
            _ => '─',
        })
        .enumerate()
        .map(|(place, sign)| match sign {
            '├' if place > 0 => '┤',
            sign => sign,
        })
        .collect()
}

/// Draws one line such as `hears D  flat ├──┼◆─┤ sharp  +4 cents  even ±2  ▮▮▮▯▯`, or a shorter one
/// where there is less room.
pub(super) fn line(now: HeardNow, theme: Theme, buffer: &mut Buffer, area: Rect) {
    if area.height == 0 {
        return;
    }
    let off = now.note.and_then(|(_, off)| Some(off?.0));
    let note = now
        .note
        .map_or_else(|| "nothing".to_owned(), |(note, _)| note.to_string());
    let cents = off.map_or_else(String::new, |off| format!("{off:+.0} cents"));
    let even = now
        .held
        .map_or_else(String::new, |held| format!("±{:.0}", held.spread.0));
    let meter = meter(now.level);
    let text = if area.width >= 72 {
        let scale = scale(25, off);
        format!("hears {note:<7}  flat {scale} sharp  {cents:<10} {even:<5} {meter}")
    } else {
        let scale = scale(if area.width < 40 { 9 } else { 11 }, off);
        format!("{note:<7} {scale} {cents:<10} {even:<3} {meter}")
    };
    let text = fitted(&text, area.width);
    put(buffer, area, area.x, area.y, &text, theme.plain());
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A scale that showed a flat note on the sharp side would teach the wrong breath.
    #[test]
    fn a_note_stands_where_its_cents_are() {
        assert_eq!(scale(7, None), "├──┼──┤");
        assert_eq!(scale(7, Some(0.0)), "├──◆──┤");
        assert_eq!(scale(7, Some(-10.0)), "├─◆┼──┤");
        assert_eq!(scale(7, Some(20.0)), "├──┼─◆┤");
        assert_eq!(scale(7, Some(55.0)), "├──┼──▶");
        assert_eq!(scale(7, Some(-55.0)), "◀──┼──┤");
        assert_eq!(meter(FullScale(-1.0)), "▮▮▮▮▮");
        assert_eq!(meter(FullScale(-80.0)), "▯▯▯▯▯");
    }
}
