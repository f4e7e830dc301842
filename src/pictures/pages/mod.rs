//! The pages of pictures.
use crate::people::access::Routes;
pub fn routes() -> Routes {
    Routes::new()
}
