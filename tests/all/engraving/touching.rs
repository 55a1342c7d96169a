//! Which elements of a staff touch, and which may.

use super::*;

/// True where two boxes overlap by more than 0.02 staff spaces.
fn overlap(one: &Bounds, other: &Bounds) -> bool {
    const HAIR: f64 = 0.02;
    one.left + HAIR < other.right
        && other.left + HAIR < one.right
        && one.bottom + HAIR < other.top
        && other.bottom + HAIR < one.top
}

/// True for ink that must not touch other ink. Excepted are staff lines, which run through
/// everything, and ties, which touch their heads. Ledger lines and dots are checked like the rest.
fn solid(element: &Element) -> bool {
    !matches!(element.kind, ElementKind::StaffLine | ElementKind::Tie)
}

/// The object that an element is a part of: a melody note, the gracenotes before it, or none. Parts
/// of one object may touch each other.
#[derive(PartialEq, Eq, Clone, Copy)]
enum Owner {
    Note(NoteId),
    Gracenotes(NoteId),
    None,
}

fn owner(element: &Element) -> Owner {
    match (element.kind, element.note) {
        (
            ElementKind::GraceHead
            | ElementKind::GraceStem
            | ElementKind::GraceFlag
            | ElementKind::GraceBeam
            | ElementKind::GraceLedger,
            Some(id),
        ) => Owner::Gracenotes(id.melody()),
        (_, Some(id)) => Owner::Note(id.melody()),
        _ => Owner::None,
    }
}

/// The box of an element's ink. A beam slopes and belongs to several notes, so only its part near
/// the other element is taken.
fn slice(element: &Element, other: &Bounds) -> Bounds {
    let InkShape::Slant { from, to, thick } = &element.shape else {
        return element.shape.bounds();
    };
    let at = |x: f64| {
        let x = x.clamp(from.0, to.0);
        from.1 + (to.1 - from.1) * (x - from.0) / (to.0 - from.0)
    };
    let (left, right) = (at(other.left), at(other.right));
    Bounds {
        left: from.0,
        right: to.0,
        top: left.max(right),
        bottom: left.min(right) - thick,
    }
}

fn may_touch(a: &Element, b: &Element) -> bool {
    // words must not touch anything, not even their own note
    let words = |element: &Element| matches!(element.shape, InkShape::Text { .. });
    if words(a) || words(b) {
        return false;
    }
    let (one, other) = (owner(a), owner(b));
    if one == other && one != Owner::None {
        return true;
    }
    // a beam joins the stems of several notes
    let beam = |kind| matches!(kind, ElementKind::Beam);
    let stem = |kind| matches!(kind, ElementKind::Stem | ElementKind::Beam);
    if (beam(a.kind) && stem(b.kind)) || (stem(a.kind) && beam(b.kind)) {
        return true;
    }
    // the parts of a bar line, of a bracket and of a metre belong together
    one == Owner::None && other == Owner::None && a.kind == b.kind
}

/// Every pair of elements of a system that touch and must not, in words.
pub(super) fn touching(elements: &[Element]) -> Vec<String> {
    let solid: Vec<&Element> = elements.iter().filter(|e| solid(e)).collect();
    let mut found = Vec::new();
    for (place, a) in solid.iter().enumerate() {
        let a_box = a.shape.bounds();
        for b in &solid[place + 1..] {
            let b_box = b.shape.bounds();
            if !overlap(&a_box, &b_box) || may_touch(a, b) {
                continue;
            }
            let (one, other) = (slice(a, &b_box), slice(b, &a_box));
            if overlap(&one, &other) {
                let name = |e: &Element| e.note.map_or_else(String::new, |id| id.to_string());
                found.push(format!(
                    "{:?} {} and {:?} {}: {one:?} {other:?}",
                    a.kind,
                    name(a),
                    b.kind,
                    name(b)
                ));
            }
        }
    }
    found
}

#[track_caller]
pub(super) fn nothing_touches(score: &Score, music: &Music, settings: &LayoutSettings, what: &str) {
    let engraved = lay_out(score, Some(music), settings);
    for system in &engraved.systems {
        let found = touching(&system.elements);
        assert!(found.is_empty(), "{what}: {}", found.join("\n"));
    }
}

/// Checks the check itself: a gracenote pushed into its note, and a flag pushed into a bar line,
/// must be found.
#[test]
fn the_check_sees_what_touches() {
    let value = read(BUILT_IN[0].text.as_bytes()).0.expect("reads");
    let music = &value.stages[0].music;
    let score = resolve_music(music, Beats::ZERO, &value.schools);
    let engraved = lay_out(&score, Some(music), &settings(104.0));
    let elements = &engraved.systems[0].elements;
    assert!(touching(elements).is_empty());
    let grace = elements
        .iter()
        .position(|element| element.kind == ElementKind::GraceFlag)
        .expect("a single gracenote");
    let line = elements
        .iter()
        .find(|element| element.kind == ElementKind::BarLine)
        .expect("a bar line")
        .shape
        .bounds();
    let mut pushed = elements.clone();
    if let InkShape::Glyph { x, y, .. } = &mut pushed[grace].shape {
        (*x, *y) = (line.left - 0.2, 3.0);
    }
    assert!(!touching(&pushed).is_empty());
}
