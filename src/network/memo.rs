//! The last results of a computation, by its exact inputs.
//!
//! A Jacobian by finite differences changes one vessel at a time: all others, and the paths between
//! them, have just been computed. Two results are kept, so that the unchanged state outlives the
//! changed one. A result found here is the one that was computed, bit for bit.

/// Two results by key.
#[derive(Debug, Clone)]
pub(super) struct Memo<K, V> {
    slots: [Option<(K, V)>; 2],
    /// Slot used least recently.
    oldest: usize,
}

impl<K, V> Default for Memo<K, V> {
    fn default() -> Self {
        Self {
            slots: [None, None],
            oldest: 0,
        }
    }
}

impl<K: PartialEq, V: Clone> Memo<K, V> {
    /// The result for `key`, computed if it is not at hand.
    pub fn get<E>(&mut self, key: K, compute: impl FnOnce() -> Result<V, E>) -> Result<V, E> {
        for (i, slot) in self.slots.iter().enumerate() {
            if let Some((known, value)) = slot
                && *known == key
            {
                self.oldest = 1 - i;
                return Ok(value.clone());
            }
        }
        let value = compute()?;
        self.slots[self.oldest] = Some((key, value.clone()));
        self.oldest = 1 - self.oldest;
        Ok(value)
    }
}
