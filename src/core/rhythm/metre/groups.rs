//! Metres whose beats are counted in groups: five quavers as two and three.

use super::Metre;
use crate::rhythm::NoteValue;
use crate::units::{Beats, Fraction};

impl Metre {
    /// The metre counted in groups of so many of the lower figure's notes, such as 3 + 2 in 5/8. It
    /// stays as it is where these are its beats. Groups that are alike are beats, where one note is as
    /// long: 2+2+2/8 has three crotchets. Crotchets and longer notes are counted one by one, and their
    /// groups are printed only.
    pub fn in_groups(self, sizes: &[u32]) -> Self {
        let sum: u32 = sizes.iter().sum();
        let beats = self.is_compound() && sizes.iter().all(|size| *size == 3);
        if sizes.len() < 2 || beats || sum != u32::from(self.above) {
            return self;
        }
        if let [first @ (2 | 4), rest @ ..] = sizes
            && rest.iter().all(|size| size == first)
            && (self.below >= 8 || self.is_compound())
            && let beat = Fraction::new(i128::from(*first), i128::from(self.below))
            && let Some(alike) = self.with_beat(beat)
        {
            return alike;
        }
        let mut begins = 0;
        let mut groups = 0;
        for size in sizes {
            groups |= 1 << begins;
            begins += size;
        }
        Self {
            beat: (1, self.below),
            groups,
            ..self
        }
    }

    /// How long each group is, in beats; nothing where each beat is counted by itself.
    fn group_sizes(self) -> Vec<u32> {
        let beats = self.beats_in_a_bar();
        let mut begins: Vec<u32> = (0..beats)
            .filter(|beat| self.groups >> beat & 1 == 1)
            .collect();
        begins.push(beats);
        begins.windows(2).map(|two| two[1] - two[0]).collect()
    }

    /// True where beats are counted in groups: those shorter than a crotchet.
    pub fn is_grouped(self) -> bool {
        self.groups != 0 && self.below >= 8
    }

    /// How many of its beats last as long as a crotchet where they are shorter than one, as quavers are
    /// in 5/8; else 1. A tempo of beats that short is so much quicker.
    pub fn beats_in_a_crotchet(self) -> Fraction {
        let beats = Fraction::new(1, 4) / self.beat_of_semibreve();
        if self.is_compound() {
            Fraction::from_integer(1)
        } else {
            beats.max(Fraction::from_integer(1))
        }
    }

    /// What a tempo counts, for `100 quavers a minute`: beats, or the notes that are shorter than a
    /// crotchet and that a click falls on each of.
    pub fn counts_of_tempo(self) -> &'static str {
        match self.beat_value() {
            (NoteValue::Quaver, false) => "quavers",
            (NoteValue::Semiquaver, false) => "semiquavers",
            _ => "beats",
        }
    }

    /// `2 + 3`, where beats are counted in groups.
    pub fn groups_spoken(self) -> Option<String> {
        let sizes: Vec<String> = self.group_sizes().iter().map(u32::to_string).collect();
        self.is_grouped().then(|| sizes.join(" + "))
    }

    /// Where the groups of a bar begin, in beats; nothing where each beat is counted by itself.
    pub fn group_begins(self) -> Vec<Beats> {
        let beats = (0..self.beats_in_a_bar()).filter(|beat| self.groups >> beat & 1 == 1);
        let begins = beats.map(|beat| Beats::whole(i128::from(beat)));
        if self.is_grouped() {
            begins.collect()
        } else {
            Vec::new()
        }
    }

    /// The ways to count the same metre in the same groups in another order, this one first: 2 + 3 and
    /// 3 + 2. Nothing where it is not counted in groups.
    pub fn orders_of_groups(self) -> Vec<Self> {
        let mut sizes = self.group_sizes();
        let mut orders: Vec<Self> = Vec::new();
        for _ in 0..sizes.len() {
            let order = self.in_groups(&sizes);
            if self.is_grouped() && order.is_grouped() && !orders.contains(&order) {
                orders.push(order);
            }
            sizes.rotate_right(1);
        }
        orders
    }

    /// How many counts a bar has: its groups, or else its beats. A click falls on each.
    pub fn counts_in_a_bar(self) -> u32 {
        if self.is_grouped() {
            self.groups.count_ones()
        } else {
            self.beats_in_a_bar()
        }
    }

    /// True where a beat of the bar, from 0, is counted.
    pub fn is_counted(self, beat: u32) -> bool {
        !self.is_grouped()
            || self
                .groups
                .checked_shr(beat)
                .is_some_and(|from| from & 1 == 1)
    }

    /// Which count of the bar a beat belongs to, both from 0.
    pub fn count_of(self, beat: u32) -> u32 {
        if !self.is_grouped() {
            return beat;
        }
        let up_to = self.groups & (u32::MAX >> (31 - beat.min(31)));
        up_to.count_ones().saturating_sub(1)
    }

    /// The upper figure, as a sum where it is counted in other groups than is usual.
    pub fn above_as_counted(self) -> String {
        if self.groups == Self::usual(self.above, self.below).groups || self.groups == 0 {
            return self.above.to_string();
        }
        let sizes: Vec<String> = self.group_sizes().iter().map(u32::to_string).collect();
        sizes.join("+")
    }
}
