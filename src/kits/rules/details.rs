//! What is written on a kit: its name, where it came from, its dates. Pure.

use crate::clock::Day;
use crate::ids::{RevisionId, SizeId};
use crate::text::{fold, tidy};

/// The details as somebody typed them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Typed {
    pub name: String,
    /// `spares`, or a revision and a size joined by a dot.
    pub checked: String,
    pub supplier: String,
    pub serial: String,
    pub purchase_reference: String,
    pub received_on: String,
    pub report_by: String,
    pub brought_in: bool,
    pub note: String,
}

/// The details as they will be kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Details {
    pub name: String,
    pub checked_against: Option<(RevisionId, SizeId)>,
    pub supplier: String,
    pub serial: String,
    pub purchase_reference: String,
    pub received_on: Option<Day>,
    pub report_by: Option<Day>,
    pub brought_in: bool,
    pub note: String,
}

/// Something to put right, at a field of the form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wrong {
    pub field: &'static str,
    pub text: String,
}

/// The value of a choice in the form: what a kit is checked against.
pub fn choice(checked_against: Option<(RevisionId, SizeId)>) -> String {
    match checked_against {
        Some((revision, size)) => format!("{revision}.{size}"),
        None => "spares".to_owned(),
    }
}

/// Reads the details. `others` are the names of the team's other kits, `offered` what there is to be
/// checked against.
pub fn read(
    typed: &Typed,
    others: &[String],
    offered: &[(RevisionId, SizeId)],
) -> Result<Details, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let name = tidy(&typed.name);
    if name.is_empty() {
        tell(&mut wrongs, "name", "Give the kit a name.");
    } else if let Some(same) = others.iter().find(|other| fold(other) == fold(&name)) {
        wrongs.push(Wrong {
            field: "name",
            text: format!("Your team has a kit called “{same}” already."),
        });
    }
    too_long(&mut wrongs, "name", "name", &name, 120);
    let supplier = tidy(&typed.supplier);
    too_long(&mut wrongs, "supplier", "supplier's name", &supplier, 200);
    let serial = tidy(&typed.serial);
    too_long(&mut wrongs, "serial", "serial number", &serial, 120);
    let purchase_reference = tidy(&typed.purchase_reference);
    too_long(
        &mut wrongs,
        "purchase_reference",
        "purchase reference",
        &purchase_reference,
        120,
    );
    let note = typed.note.trim().replace("\r\n", "\n");
    too_long(&mut wrongs, "note", "note", &note, 2000);

    let checked_against = match typed.checked.as_str() {
        "spares" => None,
        other => {
            let found = offered
                .iter()
                .find(|offer| choice(Some(**offer)) == other)
                .copied();
            if found.is_none() {
                tell(
                    &mut wrongs,
                    "checked",
                    "Choose a parts list and size, or a spares box.",
                );
            }
            found
        }
    };
    let received_on = day(&mut wrongs, "received_on", &typed.received_on);
    let report_by = day(&mut wrongs, "report_by", &typed.report_by);
    if let (Some(received), Some(by)) = (received_on, report_by)
        && by < received
    {
        tell(
            &mut wrongs,
            "report_by",
            "The last day to report cannot be before the kit was received.",
        );
    }
    if !wrongs.is_empty() {
        return Err(wrongs);
    }
    Ok(Details {
        name,
        checked_against,
        supplier,
        serial,
        purchase_reference,
        received_on,
        report_by,
        brought_in: typed.brought_in,
        note,
    })
}

fn tell(wrongs: &mut Vec<Wrong>, field: &'static str, text: &str) {
    wrongs.push(Wrong {
        field,
        text: text.to_owned(),
    });
}

fn too_long(wrongs: &mut Vec<Wrong>, field: &'static str, what: &str, text: &str, most: usize) {
    let length = text.chars().count();
    if length > most {
        wrongs.push(Wrong {
            field,
            text: format!("The {what} has {length} characters; at most {most} are kept."),
        });
    }
}

fn day(wrongs: &mut Vec<Wrong>, field: &'static str, text: &str) -> Option<Day> {
    let text = text.trim();
    if text.is_empty() {
        return None;
    }
    // Years of more or fewer than four digits do not sort as text, which is how days are stored.
    let day = text.parse::<Day>().ok().filter(|_| text.len() == 10);
    if day.is_none() {
        tell(wrongs, field, "Give the day as 2027-03-04.");
    }
    day
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed() -> Typed {
        Typed {
            name: " Kettlehorn  2 ".into(),
            checked: "spares".into(),
            received_on: "2027-03-03".into(),
            report_by: "2027-03-17".into(),
            ..Typed::default()
        }
    }

    #[track_caller]
    fn check(change: impl Fn(&mut Typed), expected: &[&str]) {
        let mut typed = typed();
        change(&mut typed);
        let fields: Vec<&str> = match read(&typed, &["Élan".to_owned()], &[]) {
            Ok(_) => Vec::new(),
            Err(wrongs) => wrongs.iter().map(|wrong| wrong.field).collect(),
        };
        assert_eq!(fields, expected);
    }

    #[test]
    fn what_is_wrong_is_told_at_its_field() {
        check(|_| (), &[]);
        check(|typed| typed.name = " \u{feff}".into(), &["name"]);
        check(|typed| typed.name = "ELAN".into(), &["name"]);
        check(|typed| typed.name = "x".repeat(121), &["name"]);
        check(|typed| typed.checked = String::new(), &["checked"]);
        check(
            |typed| typed.checked = choice(Some((RevisionId::new(), SizeId::new()))),
            &["checked"],
        );
        check(
            |typed| typed.received_on = "2027-02-30".into(),
            &["received_on"],
        );
        check(|typed| typed.report_by = "3 March".into(), &["report_by"]);
        check(
            |typed| typed.report_by = "2027-03-02".into(),
            &["report_by"],
        );
        check(|typed| typed.report_by = String::new(), &[]);
        check(
            |typed| {
                typed.name = String::new();
                typed.note = "x".repeat(2001);
            },
            &["name", "note"],
        );
    }

    #[test]
    fn details_are_kept_tidy() {
        let revision = (RevisionId::new(), SizeId::new());
        let mut typed = typed();
        typed.checked = choice(Some(revision));
        typed.serial = " KW\u{a0}0042\t".into();
        let details = read(&typed, &[], &[revision]).unwrap();
        assert_eq!(details.name, "Kettlehorn 2");
        assert_eq!(details.serial, "KW 0042");
        assert_eq!(details.checked_against, Some(revision));
    }
}
