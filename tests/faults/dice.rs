//! Chance that is the same at every run.

/// SplitMix64, from memory; any generator would do.
#[derive(Clone)]
pub struct Dice(pub u64);

impl Dice {
    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// From 0 up to, but without, `end`.
    pub fn below(&mut self, end: usize) -> usize {
        (self.roll() % end.max(1) as u64) as usize
    }

    pub fn in_a_hundred(&mut self, chances: u64) -> bool {
        self.roll() % 100 < chances
    }
}
