//! What stands around every page: who is looking, the strip, the message of the last form, the date.

use super::flash::Flash;
use super::hand::Hand;
use crate::ids::FormId;

/// Filled in by `app` from the request; every page struct has one.
#[derive(Debug, Clone, Default)]
pub struct Frame {
    /// The league's name; empty before the first account.
    pub league: String,
    /// Who is signed in.
    pub person: Option<String>,
    /// Their team.
    pub team: Option<String>,
    /// Which word of the strip this page belongs to, or "".
    pub strip: &'static str,
    pub flash: Option<Flash>,
    /// "25 Nov 2026, 18:04".
    pub as_of: String,
    pub path: String,
    /// How the phone is held.
    pub hand: Hand,
}

impl Frame {
    /// A new id for a form on this page.
    pub fn form_id(&self) -> FormId {
        FormId::new()
    }

    /// The address of a file of `static/`.
    pub fn asset(&self, name: &str) -> &'static str {
        super::assets::address(name)
    }

    /// Which word of the strip a path belongs to.
    pub fn strip_of(path: &str) -> &'static str {
        let first = path.split('/').nth(1).unwrap_or("");
        let last = path.rsplit('/').next().unwrap_or("");
        match first {
            "kits" if matches!(last, "lend" | "ask") => "lend",
            "" => "today",
            "counts" | "stints" => "count",
            "where" | "places" | "c" => "where",
            "lend" | "loans" | "lent" | "borrowed" => "lend",
            "broken" | "damage" => "broken",
            _ => "",
        }
    }
}
