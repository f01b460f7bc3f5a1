//! What the automaton remembers from column to column, packed.

/// Registers and slots, four bits each: a digit, a carry, a flag or a small count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct State([u128; 2]);

impl State {
    const EACH: usize = 32;

    pub(super) fn get(self, place: usize) -> u8 {
        let (word, shift) = (place / Self::EACH, 4 * (place % Self::EACH));
        u8::try_from(self.0[word] >> shift & 0xF).expect("four bits")
    }

    pub(super) fn set(&mut self, place: usize, value: u8) {
        let (word, shift) = (place / Self::EACH, 4 * (place % Self::EACH));
        self.0[word] = self.0[word] & !(0xF << shift) | u128::from(value & 0xF) << shift;
    }
}
