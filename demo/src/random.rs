//! Repeatable random numbers: SplitMix64 (Steele, Lea and Flood 2014), and normal ones by Box and
//! Muller (1958). Both from memory, and tested below for what the story needs of them.

/// A generator that gives the same numbers for the same seed, on every machine.
#[derive(Clone, Debug)]
pub struct Random {
    state: u64,
}

impl Random {
    pub fn new(seed: u64) -> Random {
        Random { state: seed }
    }

    /// Any 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly spread in [0, 1).
    pub fn fraction(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly spread in [-bound, bound).
    pub fn within(&mut self, bound: f64) -> f64 {
        (2.0 * self.fraction() - 1.0) * bound
    }

    /// Normally distributed with mean 0 and standard deviation 1.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.fraction()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.fraction()).cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first outputs for seed 0, as the algorithm's authors' C code gives them (from memory;
    /// the same values stand in the tests of several standard libraries).
    #[test]
    fn splitmix_gives_its_published_sequence() {
        let mut random = Random::new(0);
        assert_eq!(random.bits(), 0xe220_a839_7b1d_cdaf);
        assert_eq!(random.bits(), 0x6e78_9e6a_a1b9_65f4);
    }

    #[test]
    fn normal_numbers_have_their_moments() {
        let mut random = Random::new(7);
        let n = 100_000;
        let values: Vec<f64> = (0..n).map(|_| random.normal()).collect();
        let mean = values.iter().sum::<f64>() / f64::from(n);
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / f64::from(n);
        let beyond = values.iter().filter(|v| v.abs() > 1.96).count() as f64 / f64::from(n);
        // Four standard errors each.
        assert!(mean.abs() < 0.0127, "{mean}");
        assert!((variance - 1.0).abs() < 0.018, "{variance}");
        assert!((beyond - 0.05).abs() < 0.0028, "{beyond}");
    }
}
