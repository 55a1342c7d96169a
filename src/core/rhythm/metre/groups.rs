//! Metres whose beats are counted in groups, such as five quavers as two and three.

use super::Metre;
use crate::rhythm::NoteValue;
use crate::units::{Beats, Fraction};

impl Metre {
    /// The same metre counted in groups; `sizes` are in notes of the lower figure, such as 3 + 2 in
    /// 5/8. The metre stays as it is when the groups are its beats already or do not add up to a
    /// bar. Equal groups become beats when one note has that length: 2+2+2/8 has three crotchet
    /// beats. Crotchets and longer notes are counted one by one, and their groups are only printed.
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

    /// The length of each group in beats; empty when the beats are not counted in groups.
    fn group_sizes(self) -> Vec<u32> {
        let beats = self.beats_in_a_bar();
        let mut begins: Vec<u32> = (0..beats)
            .filter(|beat| self.groups >> beat & 1 == 1)
            .collect();
        begins.push(beats);
        begins.windows(2).map(|two| two[1] - two[0]).collect()
    }

    /// True when the beats are counted in groups. Only beats shorter than a crotchet are.
    pub fn is_grouped(self) -> bool {
        self.groups != 0 && self.below >= 8
    }

    /// How many beats last as long as a crotchet where the beat is shorter than one, as the quavers
    /// of 5/8 are; otherwise 1. A tempo that counts such short beats is that many times quicker.
    pub fn beats_in_a_crotchet(self) -> Fraction {
        let beats = Fraction::new(1, 4) / self.beat_of_semibreve();
        if self.is_compound() {
            Fraction::from_integer(1)
        } else {
            beats.max(Fraction::from_integer(1))
        }
    }

    /// What the tempo counts, in words for a sentence such as `100 quavers a minute`: beats, or
    /// notes shorter than a crotchet that have a click each.
    pub fn counts_of_tempo(self) -> &'static str {
        match self.beat_value() {
            (NoteValue::Quaver, false) => "quavers",
            (NoteValue::Semiquaver, false) => "semiquavers",
            _ => "beats",
        }
    }

    /// The groups in words, `2 + 3`; none when the beats are not counted in groups.
    pub fn groups_spoken(self) -> Option<String> {
        let sizes: Vec<String> = self.group_sizes().iter().map(u32::to_string).collect();
        self.is_grouped().then(|| sizes.join(" + "))
    }

    /// Where the groups of a bar begin, in beats; empty when the beats are not counted in groups.
    pub fn group_begins(self) -> Vec<Beats> {
        let beats = (0..self.beats_in_a_bar()).filter(|beat| self.groups >> beat & 1 == 1);
        let begins = beats.map(|beat| Beats::whole(i128::from(beat)));
        if self.is_grouped() {
            begins.collect()
        } else {
            Vec::new()
        }
    }

    /// The same metre with the same groups in every order, this order first: 2 + 3 and 3 + 2. Empty
    /// when the beats are not counted in groups.
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

    /// How many counts a bar has: its groups, or otherwise its beats. Each count has a click.
    pub fn counts_in_a_bar(self) -> u32 {
        if self.is_grouped() {
            self.groups.count_ones()
        } else {
            self.beats_in_a_bar()
        }
    }

    /// True when a beat of the bar (from 0) is a count.
    pub fn is_counted(self, beat: u32) -> bool {
        !self.is_grouped()
            || self
                .groups
                .checked_shr(beat)
                .is_some_and(|from| from & 1 == 1)
    }

    /// The count of the bar that a beat belongs to, both from 0.
    pub fn count_of(self, beat: u32) -> u32 {
        if !self.is_grouped() {
            return beat;
        }
        let up_to = self.groups & (u32::MAX >> (31 - beat.min(31)));
        up_to.count_ones().saturating_sub(1)
    }

    /// The upper figure; a sum such as `3+2` when the groups are not the usual ones.
    pub fn above_as_counted(self) -> String {
        if self.groups == Self::usual(self.above, self.below).groups || self.groups == 0 {
            return self.above.to_string();
        }
        let sizes: Vec<String> = self.group_sizes().iter().map(u32::to_string).collect();
        sizes.join("+")
    }
}
