//! Replacement orders: pieces bought or asked for in time. So far only what is computed about them.
