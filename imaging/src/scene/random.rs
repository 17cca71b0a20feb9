//! Repeatable pseudo-random numbers: the same seed gives the same picture, always.

/// Scrambles 64 bits (the finaliser of `SplitMix64`; Steele, Lea, Flood, OOPSLA 2014).
pub(super) fn scramble(value: u64) -> u64 {
    let mut z = value.wrapping_add(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// A small stream of repeatable numbers.
pub(super) struct Stream(u64);

impl Stream {
    /// Starts a stream for a seed.
    pub fn new(seed: u64) -> Self {
        Self(scramble(seed))
    }

    /// Returns the next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        scramble(self.0)
    }

    /// Returns the next number from 0 up to, not including, 1.
    pub fn unit(&mut self) -> f32 {
        (self.bits() >> 40) as f32 / (1_u64 << 24) as f32
    }

    /// Returns the next number between two limits.
    pub fn between(&mut self, low: f32, high: f32) -> f32 {
        low + (high - low) * self.unit()
    }

    /// Returns the next number of a normal distribution with mean 0 and deviation 1
    /// (Box and Muller, Ann. Math. Stat. 29:610, 1958).
    pub fn normal(&mut self) -> f32 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f32::consts::TAU * self.unit()).cos()
    }
}
