//! A permutation of 0..n that needs no memory: any entry in constant time.
//!
//! Six rounds of a balanced Feistel network (Luby & Rackoff 1988, SIAM J. Comput. 17,
//! 373) on the smallest even number of bits that holds n, walked along its cycle until
//! it falls inside 0..n again (Black & Rogaway 2002, CT-RSA, 114). The domain is at
//! most four times n (64 at least), so about four steps of the walk suffice on average.

use super::stream::mix;

/// Rounds of the network; four make it a strong pseudo-random permutation.
const ROUNDS: u64 = 6;

/// Where `index` (below `length`) goes in the permutation of 0..length named by `key`.
pub(super) fn permute(index: u64, length: u64, key: u64) -> u64 {
    if length <= 1 || index >= length {
        return index;
    }
    let bits = 64 - (length - 1).leading_zeros();
    let half = bits.div_ceil(2).max(3);
    let mask = (1u64 << half) - 1;
    let mut place = index;
    loop {
        let (mut left, mut right) = (place >> half, place & mask);
        for round in 0..ROUNDS {
            let scrambled = mix(key.wrapping_add(mix(right.wrapping_add(round << 56))));
            (left, right) = (right, left ^ (scrambled & mask));
        }
        place = (left << half) | right;
        if place < length {
            return place;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::permute;

    #[test]
    fn every_place_is_taken_once() {
        for length in [1, 2, 3, 7, 64, 65, 1000, 4097] {
            let mut seen = vec![false; length as usize];
            for index in 0..length {
                let place = permute(index, length, 0xC01D) as usize;
                assert!(
                    !std::mem::replace(&mut seen[place], true),
                    "{place} twice of {length}"
                );
            }
        }
    }

    /// All 24 orders of four things must be equally frequent over keys (chi-square,
    /// 23 degrees of freedom, 0.01 % point 56.0).
    #[test]
    fn all_orders_are_equally_frequent() {
        let keys = 48_000;
        let mut counts = std::collections::BTreeMap::new();
        for key in 0..keys {
            let order: Vec<u64> = (0..4).map(|index| permute(index, 4, key)).collect();
            *counts.entry(order).or_insert(0u32) += 1;
        }
        let expected = keys as f64 / 24.0;
        let chi: f64 = counts
            .values()
            .map(|&c| (f64::from(c) - expected).powi(2) / expected)
            .sum();
        assert_eq!(counts.len(), 24);
        assert!(chi < 56.0, "chi-square {chi}");
    }
}
