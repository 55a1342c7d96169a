//! Metres whose beats are counted in groups: five quavers as two and three.

use super::Metre;

impl Metre {
    /// The metre counted in groups of so many of the lower figure's notes, such as 3 + 2 in 5/8. It
    /// stays as it is where these are its beats, and where those notes are crotchets or longer,
    /// which are counted one by one.
    pub(super) fn in_groups(self, sizes: &[u32]) -> Self {
        let sum: u32 = sizes.iter().sum();
        let beats = self.is_compound() && sizes.iter().all(|size| *size == 3);
        if sizes.len() < 2 || beats || self.below < 8 || sum != u32::from(self.above) {
            return self;
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

    /// True where beats are counted in groups.
    pub fn is_grouped(self) -> bool {
        self.groups != 0
    }

    /// How many counts a bar has: its groups, or else its beats. A click falls on each.
    pub fn counts_in_a_bar(self) -> u32 {
        match self.groups {
            0 => self.beats_in_a_bar(),
            groups => groups.count_ones(),
        }
    }

    /// True where a beat of the bar, from 0, is counted.
    pub fn is_counted(self, beat: u32) -> bool {
        self.groups == 0
            || self
                .groups
                .checked_shr(beat)
                .is_some_and(|from| from & 1 == 1)
    }

    /// Which count of the bar a beat belongs to, both from 0.
    pub fn count_of(self, beat: u32) -> u32 {
        if self.groups == 0 {
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
