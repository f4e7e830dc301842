//! The pages of damage.
