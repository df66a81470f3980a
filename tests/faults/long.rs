//! Lengths of tests that a person may ask to be longer, and seeds.
//! `contrib/long_faults.sh` asks for the long ones.

use std::time::{SystemTime, UNIX_EPOCH};

/// What the variable `SOAKMIST_FAULTS_<name>` asks for, or the usual.
pub(crate) fn asked(name: &str, usual: u64) -> u64 {
    let variable = format!("SOAKMIST_FAULTS_{name}");
    match std::env::var(&variable) {
        Ok(text) => text.parse().unwrap_or_else(|_| panic!("{variable}={text}")),
        Err(_) => usual,
    }
}

/// xorshift64*, Vigna 2016, ACM Trans. Math. Softw. 42(4): its constants.
pub(crate) struct Dice(u64);

impl Dice {
    /// Dice of a new seed, which is told; `SOAKMIST_FAULTS_SEED` throws the
    /// same again.
    pub(crate) fn fresh(test: &str) -> Self {
        let now = SystemTime::now()
            .duration_since(UNIX_EPOCH)
            .unwrap_or_default();
        let seed = asked("SEED", u64::from(now.subsec_nanos()) + now.as_secs());
        eprintln!("{test}: SOAKMIST_FAULTS_SEED={seed} throws the same dice again");
        Self(seed.max(1))
    }

    pub(crate) fn below(&mut self, most: u64) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) % most.max(1)
    }
}
