//! Computations checked against numbers that others published. Each value has its source beside it.

mod accuracy;
mod codes;
mod days;
mod lift;
mod need;
mod netting;
mod orders;
mod overlap;
mod sampling;
mod spares;
mod weighing;
