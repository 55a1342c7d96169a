//! Tests of marks by the microphone.

use super::*;

#[test]
fn by_ear_only_repetitions_with_the_reference_silent_are_marked() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan.clone());
    let id = practice.begin_with(true);
    practice.close(id);
    let news = practice.hear(id, true, 35.0);
    assert!(news.contains(&News::NotByEar {
        repetition: id,
        why: NotByEar::ReferenceSounded
    }));
    assert!(practice.marks().is_empty());
    let id = practice.play();
    practice.hear(id, true, 35.0);
    assert_eq!(practice.marks(), [(id, Mark::Clean, By::Ear)]);

    plan.headphones = true;
    let mut practice = Practice::with(plan);
    let id = practice.begin_with(true);
    practice.close(id);
    practice.hear(id, true, 95.0);
    assert_eq!(practice.marks(), [(id, Mark::NotClean, By::Ear)]);
}

#[test]
fn a_silent_player_in_front_of_a_loudspeaker_earns_nothing() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan);
    let id = practice.play();
    let news = practice.hear(id, false, 35.0);
    assert!(news.contains(&News::NotByEar {
        repetition: id,
        why: NotByEar::SilentPlayer
    }));
    assert!(practice.marks().is_empty());
}

/// When the microphone hears our own reference, no player is marked, whatever was declared. Nobody
/// plays that exactly.
#[test]
fn the_reference_itself_earns_nothing() {
    let mut plan = plan();
    plan.by_ear = true;
    plan.headphones = true;
    let mut practice = Practice::with(plan);
    let id = practice.begin_with(true);
    practice.close(id);
    let why = NotByEar::ReferenceSounded;
    let news = practice.hear(id, true, 35.5);
    let not_by_ear = News::NotByEar {
        repetition: id,
        why,
    };
    assert!(news.contains(&not_by_ear));
    assert!(practice.marks().is_empty());
    // When the reference was silent, a player did play that exactly.
    let id = practice.play();
    practice.hear(id, true, 35.5);
    assert_eq!(practice.marks(), [(id, Mark::Clean, By::Ear)]);
}

/// Talk beside the player must not end the player's streak.
#[test]
fn what_is_not_heard_surely_is_not_marked() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan);
    let id = practice.play();
    let at = practice.at();
    let before = practice.journal.len();
    let mut measured = heard(true, 95.0);
    measured.confidence = Some(0.9);
    let listened = Event::Listened {
        at,
        repetition: id,
        measured,
        lost: false,
    };
    let why = NotByEar::Unsure;
    let not_by_ear = News::NotByEar {
        repetition: id,
        why,
    };
    assert!(practice.tell(listened).contains(&not_by_ear));
    assert_eq!(practice.journal.len(), before, "nothing of it is kept");
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(0, 50).clean, 1, "the hand still marks it");
}

/// Lost sound of the microphone is not taken for silence of the player. A mark by hand stands and
/// can still be made.
#[test]
fn lost_sound_of_the_microphone_is_no_silence_of_the_player() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan);
    let id = practice.play();
    let at = practice.at();
    let lost = |repetition| Event::Listened {
        at,
        repetition,
        measured: Measurement::nothing(Milliseconds(1000.0)),
        lost: true,
    };
    let why = NotByEar::SoundLost;
    let not_by_ear = |repetition| News::NotByEar { repetition, why };
    let before = practice.journal.len();
    assert_eq!(practice.tell(lost(id)), [not_by_ear(id)]);
    assert_eq!(practice.journal.len(), before, "nothing of it is kept");
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(0, 50).clean, 1, "the hand still marks it");
    assert_eq!(practice.tell(lost(id)), [], "it has its mark");
    let plays = practice.begin();
    assert_eq!(practice.tell(lost(plays)), [not_by_ear(plays)]);
}

/// Lost sound of the click must not be counted as the player's fault.
#[test]
fn a_repetition_with_lost_sound_takes_no_mark_from_anybody() {
    let mut plan = plan();
    plan.by_ear = true;
    plan.hands_free = true;
    let mut practice = Practice::with(plan);
    let id = practice.begin();
    let news = practice.tell(Event::SoundLost);
    assert_eq!(news, [News::NotCounted(id)]);
    assert_eq!(practice.tell(Event::SoundLost), [], "told once");
    practice.close(id);
    let why = NotByEar::SoundLost;
    let not_by_ear = News::NotByEar {
        repetition: id,
        why,
    };
    assert!(practice.hear(id, true, 35.0).contains(&not_by_ear));
    assert_eq!(practice.press(Mark::Clean), [News::NotCounted(id)]);
    practice.end(id);
    assert!(practice.marks().is_empty());
    let tried = |entry: &Entry| matches!(entry.record.kind, Kind::Tried { .. });
    assert!(!practice.journal.iter().any(tried), "it was no try either");
    let id = practice.play();
    practice.press(Mark::Clean);
    assert_eq!(practice.marks(), [(id, Mark::Clean, By::Key)]);
}

#[test]
fn key_and_pedal_overrule_the_ear_and_never_the_other_way_round() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan);
    let id = practice.play();
    practice.hear(id, true, 95.0);
    practice.press(Mark::Clean);
    assert_eq!(practice.tally(0, 50).clean, 1);
    let id = practice.play();
    practice.press(Mark::Clean);
    practice.hear(id, true, 95.0);
    assert_eq!(practice.tally(0, 50).clean, 2);
}

#[test]
fn the_journal_keeps_the_raw_measures_and_the_thresholds() {
    let mut plan = plan();
    plan.by_ear = true;
    let mut practice = Practice::with(plan.clone());
    let id = practice.play();
    practice.hear(id, true, 95.0);
    plan.by_ear = false;
    let at = practice.at();
    practice.tell(Event::PlanChanged { at, plan });
    let id = practice.play();
    practice.hear(id, true, 41.5);
    let kept: Vec<f64> = practice
        .journal
        .iter()
        .filter(|entry| entry.record.thresholds.is_some())
        .filter_map(|entry| Measurement::from_json(entry.record.measures.as_deref()?))
        .filter_map(|measured| measured.notes[0].length_ms)
        .map(|length| length.0)
        .collect();
    assert_eq!(kept, [95.0, 41.5]);
    assert_eq!(
        practice.marks().len(),
        1,
        "without marking by ear it is only kept"
    );
}
