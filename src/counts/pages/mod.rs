//! The pages of counts.

use crate::people::access::Routes;

pub fn routes() -> Routes {
    Routes::new()
}
