//! HTML over HTTP: what every page needs and no noun owns.

pub mod assets;
pub mod cookie;
pub mod extract;
pub mod flash;
pub mod form;
pub mod frame;
pub mod hand;
pub mod layers;
pub mod page;
pub mod patterns;
pub mod problem;
pub mod qr;
pub mod upload;
