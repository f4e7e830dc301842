//! HTML over HTTP: what every page needs and no noun owns.

pub mod assets;
pub mod extract;
pub mod flash;
pub mod frame;
pub mod page;
pub mod problem;
pub mod qr;
