//! The last results of a computation, by its exact inputs.
//!
//! A Jacobian by finite differences changes one vessel at a time: all others, and the paths between
//! them, have just been computed. Two results are kept, so that the unchanged state outlives the
//! changed one, or as many as are soon asked for again. A result found here is the one that was computed, bit for bit.

/// `N` results by key, and which of them was asked for last.
#[derive(Debug, Clone)]
pub(super) struct Memo<K, V, const N: usize = 2> {
    slots: [Option<(K, V)>; N],
    current: usize,
    /// The slot to be filled next.
    oldest: usize,
}

impl<K, V, const N: usize> Default for Memo<K, V, N> {
    fn default() -> Self {
        Self {
            slots: std::array::from_fn(|_| None),
            current: 0,
            oldest: 0,
        }
    }
}

impl<K: PartialEq, V, const N: usize> Memo<K, V, N> {
    /// The result for `key` if it is at hand.
    #[inline]
    pub fn find(&mut self, key: &K) -> Option<&V> {
        self.find_where(|known, _| known == key)
    }

    /// A result that will do, by its key and itself, if one is at hand.
    #[inline]
    pub fn find_where(&mut self, will_do: impl Fn(&K, &V) -> bool) -> Option<&V> {
        let holds = |slot: &Option<(K, V)>| slot.as_ref().is_some_and(|(k, v)| will_do(k, v));
        self.current = self.slots.iter().position(holds)?;
        self.current()
    }

    /// Keeps a result in the place of one not asked for last.
    pub fn keep(&mut self, key: K, value: V) {
        if self.oldest == self.current {
            self.oldest = (self.oldest + 1) % N;
        }
        self.current = self.oldest;
        self.slots[self.current] = Some((key, value));
        self.oldest = (self.oldest + 1) % N;
    }

    /// Puts a better result in the place of that asked for last.
    pub fn better(&mut self, value: V) {
        if let Some((_, known)) = &mut self.slots[self.current] {
            *known = value;
        }
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
