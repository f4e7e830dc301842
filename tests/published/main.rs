//! Computations checked against numbers that others published. Each value has its source beside it.

mod codes;
mod days;
mod need;
mod netting;
mod orders;
mod overlap;
