//! (to be described)
