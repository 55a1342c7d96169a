//! A year of a student who follows the plan.

use super::*;

/// A demo student (invented, seeded) who does what the plan says for a leap year: every day has
/// a plan within its minutes, every cleared cell comes back, and the gaps do grow.
#[test]
fn a_year_of_a_student_who_follows_the_plan() {
    let drills: Vec<Known> = (0..6)
        .map(|at| Known {
            stages: planned([at * 10 + 1, at * 10 + 2], &[50, 52, 54, 57, 60, 62, 66]),
            clean: 5,
            ..drill(&format!("drill {at}"), at * 10 + 1)
        })
        .collect();
    let rule = Rule::default();
    let mut said: Vec<Said> = Vec::new();
    let mut state = 2_463_534_242_u64;
    let mut played: std::collections::BTreeMap<CellKey, u32> = std::collections::BTreeMap::new();
    let mut date = date(2024, 1, 1);
    let mut kinds = std::collections::BTreeSet::new();
    for day in 0..366_u32 {
        let digest = Digest::of(said.iter().copied());
        let items = today(&digest, &drills, &[], date, &rule);
        assert!(items.iter().map(|item| item.minutes).sum::<u32>() <= rule.minutes);
        // A free day is earned: only where every cell was cleared once and none is due.
        let cleared = digest
            .cells()
            .filter(|(_, days)| days.cleared.is_some())
            .count();
        let all: usize = drills.iter().map(|drill| drill.route().len()).sum();
        assert!(
            !items.is_empty() || cleared == all,
            "nothing to do on {date} with {cleared} of {all} cells cleared"
        );
        for (at, item) in items.iter().enumerate() {
            kinds.insert(format!("{:?}", item.kind));
            let drill = drills
                .iter()
                .find(|drill| drill.name == item.open)
                .expect("a drill");
            let cell = CellKey {
                stage: drill.stages[item.stage_number - 1].print,
                rung: item.rung,
            };
            for number in 0..12_u64 {
                state ^= state << 13;
                state ^= state >> 7;
                state ^= state << 17;
                let times = played.entry(cell).or_default();
                let clean = (state >> 11) % 100 < u64::from((60 + *times).min(95));
                *times += 1;
                said.push(Said::Mark {
                    id: RecordId {
                        session: Uuid::from_u128(u128::from(day) * 100 + at as u128),
                        number,
                    },
                    repetition: number,
                    cell,
                    day: date,
                    mark: if clean { Mark::Clean } else { Mark::NotClean },
                    assumed: false,
                    needed: 5,
                });
            }
        }
        date = date.tomorrow().expect("another day");
    }
    let digest = Digest::of(said);
    let cleared = digest
        .cells()
        .filter(|(_, days)| days.cleared.is_some())
        .count();
    assert!(cleared > 40, "{cleared} of 84 cells");
    let longest = digest
        .cells()
        .filter_map(|(_, days)| due_again(days, &rule))
        .map(|(_, gap, _)| gap)
        .max();
    assert!(longest >= Some(16), "{longest:?}");
    for kind in ["Again", "Climbing", "New"] {
        assert!(kinds.contains(kind), "{kinds:?}");
    }
}
