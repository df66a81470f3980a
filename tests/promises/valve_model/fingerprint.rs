//! A quick 64-bit hash of states: multiply and rotate, mixed at the end.

use std::hash::Hasher;

/// Odd, from the golden ratio.
const FACTOR: u64 = 0x9e37_79b9_7f4a_7c15;

#[derive(Default)]
pub struct Quick(u64);

impl Quick {
    fn add(&mut self, word: u64) {
        self.0 = (self.0.rotate_left(23) ^ word).wrapping_mul(FACTOR);
    }
}

impl Hasher for Quick {
    fn finish(&self) -> u64 {
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 32)).wrapping_mul(FACTOR);
        mixed = (mixed ^ (mixed >> 29)).wrapping_mul(FACTOR);
        mixed ^ (mixed >> 32)
    }

    fn write(&mut self, bytes: &[u8]) {
        for part in bytes.chunks(8) {
            let mut word = [0; 8];
            word[..part.len()].copy_from_slice(part);
            self.add(u64::from_le_bytes(word));
        }
    }

    fn write_u8(&mut self, value: u8) {
        self.add(u64::from(value));
    }

    fn write_u32(&mut self, value: u32) {
        self.add(u64::from(value));
    }

    fn write_u64(&mut self, value: u64) {
        self.add(value);
    }

    fn write_usize(&mut self, value: usize) {
        self.add(value as u64);
    }

    fn write_isize(&mut self, value: isize) {
        self.add(value as u64);
    }
}
