//! Loans: pieces with another team for a fixed time. So far only what is computed about them.

pub mod availability;
