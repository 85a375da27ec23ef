//! The last results of a computation, by its exact inputs.
//!
//! A Jacobian by finite differences changes one vessel at a time: all others, and the paths between
//! them, have just been computed. Two results are kept, so that the unchanged state outlives the
//! changed one. A result found here is the one that was computed, bit for bit.

/// Two results by key, and which of them was asked for last.
#[derive(Debug, Clone)]
pub(super) struct Memo<K, V> {
    slots: [Option<(K, V)>; 2],
    current: usize,
}

impl<K, V> Default for Memo<K, V> {
    fn default() -> Self {
        Self {
            slots: [None, None],
            current: 0,
        }
    }
}

impl<K: PartialEq, V> Memo<K, V> {
    /// The result for `key` if it is at hand.
    #[inline]
    pub fn find(&mut self, key: &K) -> Option<&V> {
        let holds = |slot: &Option<(K, V)>| slot.as_ref().is_some_and(|(known, _)| known == key);
        self.current = self.slots.iter().position(holds)?;
        self.current()
    }

    /// Keeps a result in the place of the one not asked for last.
    pub fn keep(&mut self, key: K, value: V) {
        self.current = 1 - self.current;
        self.slots[self.current] = Some((key, value));
    }

    /// The result asked for last.
    #[inline]
    pub fn current(&self) -> Option<&V> {
        self.slots[self.current].as_ref().map(|(_, value)| value)
    }

    /// The key and the result asked for last.
    #[inline]
    pub fn latest(&self) -> Option<&(K, V)> {
        self.slots[self.current].as_ref()
    }
}
