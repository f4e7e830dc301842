//! Computations checked against numbers that others published. Each value has its source beside it.

mod accuracy;
mod codes;
mod lift;
mod need;
mod sampling;
mod spares;
mod weighing;
