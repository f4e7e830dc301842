//! The report to the supplier: what is short and over, cut into sheets. Pure.
//!
//! Shorts and overs stand in tables of their own and nothing is set off against anything else. What is
//! still to come and what nobody counted is not reported as short.

use std::fmt::Write;

use rust_xlsxwriter::XlsxError;

use super::{Account, Standing, plural};
use crate::guides::import::guard;
use crate::ids::PartId;
use crate::spreadsheet;

/// Rows that fit on one sheet of A4 or Letter: fewer on the first, which bears the letter's heading.
const FIRST_ROWS: usize = 10;
const ROWS: usize = 16;

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    pub part: PartId,
    pub number: String,
    pub name: String,
    pub colour: String,
    pub need: i64,
    pub received: i64,
    /// Of those received, not good: broken or for practice only.
    pub not_good: i64,
    /// By how many it is short, or over.
    pub by: i64,
}

/// What is reported, and what is left out of it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Report {
    pub short: Vec<Row>,
    pub over: Vec<Row>,
    /// Lines that are left out because more of the delivery is expected.
    pub to_come: usize,
    /// Lines that are left out because nobody counted them.
    pub not_counted: usize,
    /// Places in which a line that is counted elsewhere was not counted.
    pub places_left: usize,
}

/// One sheet of paper.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Sheet {
    pub number: usize,
    pub of: usize,
    pub short: Vec<Row>,
    pub over: Vec<Row>,
}

impl Sheet {
    pub fn is_last(&self) -> bool {
        self.number == self.of
    }
}

impl Report {
    pub fn of(accounts: &[Account]) -> Self {
        let mut report = Self::default();
        for account in accounts {
            match account.standing() {
                Standing::AllHere | Standing::LentOut(_) => {}
                Standing::Over(by) => report.over.push(row(account, by)),
                Standing::Short(by) => report.short.push(row(account, by)),
                Standing::ToCome(_) => report.to_come += 1,
                Standing::NotCounted => report.not_counted += 1,
            }
            if account.is_counted() {
                report.places_left += account.uncounted_spots().count();
            }
        }
        report
    }

    /// The sheets, at least one; the shorts first.
    pub fn sheets(&self) -> Vec<Sheet> {
        let mut sheets = vec![Sheet::default()];
        let mut free = FIRST_ROWS;
        let rows = self.short.iter().map(|row| (row, true));
        for (row, is_short) in rows.chain(self.over.iter().map(|row| (row, false))) {
            if free == 0 {
                sheets.push(Sheet::default());
                free = ROWS;
            }
            free -= 1;
            if let Some(sheet) = sheets.last_mut() {
                let table = if is_short {
                    &mut sheet.short
                } else {
                    &mut sheet.over
                };
                table.push(row.clone());
            }
        }
        let of = sheets.len();
        for (number, sheet) in (1..).zip(&mut sheets) {
            sheet.number = number;
            sheet.of = of;
        }
        sheets
    }

    /// The same as text, to be pasted into a message. `facts` are the lines of its heading.
    pub fn text(&self, facts: &[(impl AsRef<str>, String)]) -> String {
        let mut text = String::new();
        for (what, value) in facts.iter().filter(|(_, value)| !value.is_empty()) {
            let _ = writeln!(text, "{}: {value}", what.as_ref());
        }
        for (title, rows, word) in [
            ("Short", &self.short, "short"),
            ("Over", &self.over, "over"),
        ] {
            if rows.is_empty() {
                continue;
            }
            let lines = plural(rows.len(), "line", "lines");
            let _ = writeln!(text, "\n{title}, {} {lines}:", rows.len());
            for row in rows {
                let _ = writeln!(
                    text,
                    "- {}: need {}, received {}, {} {word}",
                    row.words(),
                    row.need,
                    row.received_words(),
                    row.by
                );
            }
        }
        text
    }

    /// The same as a table with one row a line, the column names first.
    fn rows(&self) -> impl Iterator<Item = [String; 8]> {
        const TITLES: [&str; 8] = [
            "number", "name", "colour", "need", "received", "not good", "short", "over",
        ];
        let short = self.short.iter().map(|row| (row, row.by, 0));
        let over = self.over.iter().map(|row| (row, 0, row.by));
        let rows = short.chain(over).map(|(row, short, over)| {
            [
                guard::put_on(&row.number).into_owned(),
                guard::put_on(&row.name).into_owned(),
                guard::put_on(&row.colour).into_owned(),
                row.need.to_string(),
                row.received.to_string(),
                row.not_good.to_string(),
                short.to_string(),
                over.to_string(),
            ]
        });
        std::iter::once(TITLES.map(str::to_owned)).chain(rows)
    }

    /// The table as text.
    pub fn csv(&self) -> Result<Vec<u8>, csv::Error> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        for row in self.rows() {
            writer.write_record(row)?;
        }
        writer
            .into_inner()
            .map_err(|error| csv::Error::from(std::io::Error::other(error.to_string())))
    }

    /// The table as a spreadsheet, in which only quantities are numbers.
    pub fn xlsx(&self) -> Result<Vec<u8>, XlsxError> {
        spreadsheet::write("Short and over", self.rows(), |column| column >= 3)
    }
}

impl Row {
    /// "B-4 Peg, black".
    pub fn words(&self) -> String {
        let mut words = self.number.clone();
        if !words.is_empty() {
            words.push(' ');
        }
        words.push_str(&self.name);
        if !self.colour.is_empty() {
            words.push_str(", ");
            words.push_str(&self.colour);
        }
        words
    }

    /// "19", or "19 (2 of them not good)".
    pub fn received_words(&self) -> String {
        if self.not_good == 0 {
            self.received.to_string()
        } else {
            format!("{} ({} of them not good)", self.received, self.not_good)
        }
    }
}

fn row(account: &Account, by: i64) -> Row {
    let line = &account.line;
    let not_good = line.facts.practice_only + line.facts.broken;
    Row {
        part: line.part,
        number: line.number.clone(),
        name: line.name.clone(),
        colour: line.colour.clone(),
        need: line.facts.need,
        // What is lent out came too.
        received: line.facts.here() + line.facts.lent_out + not_good,
        not_good,
        by,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(count: usize) -> Vec<Row> {
        (1..=count)
            .map(|n| Row {
                part: PartId::new(),
                number: format!("B-{n}"),
                name: "Peg".into(),
                colour: String::new(),
                need: 4,
                received: 3,
                not_good: 0,
                by: 1,
            })
            .collect()
    }

    #[track_caller]
    fn check(short: usize, over: usize, expected: &[(usize, usize)]) {
        let report = Report {
            short: rows(short),
            over: rows(over),
            ..Report::default()
        };
        let sheets = report.sheets();
        let found: Vec<(usize, usize)> = sheets
            .iter()
            .map(|sheet| (sheet.short.len(), sheet.over.len()))
            .collect();
        assert_eq!(found, expected);
        for (n, sheet) in (1..).zip(&sheets) {
            assert_eq!((sheet.number, sheet.of), (n, sheets.len()));
            assert_eq!(sheet.is_last(), n == sheets.len());
        }
    }

    /// Need = received + short, whoever has the pieces now.
    #[test]
    fn what_is_lent_out_was_received() {
        let account = Account {
            line: crate::kits::rules::Line {
                part: PartId::new(),
                number: "S-516".into(),
                name: "Lock nut 6".into(),
                colour: "steel".into(),
                how_to_know: String::new(),
                facts: crate::kits::rules::Facts {
                    need: 14,
                    good: 9,
                    lent_out: 2,
                    ..Default::default()
                },
                still_to_come: 0,
            },
            spots: Vec::new(),
        };
        let row = row(&account, account.line.short_for_good());
        assert_eq!((row.need, row.received, row.by), (14, 11, 3));
    }

    #[test]
    fn a_sheet_holds_a_fixed_number_of_rows_of_both_tables() {
        check(0, 0, &[(0, 0)]);
        check(3, 2, &[(3, 2)]);
        check(10, 0, &[(10, 0)]);
        check(10, 1, &[(10, 0), (0, 1)]);
        check(12, 15, &[(10, 0), (2, 14), (0, 1)]);
    }

    #[test]
    fn text_and_table_say_the_same() {
        let report = Report {
            short: vec![Row {
                part: PartId::new(),
                number: "B-4".into(),
                name: "Peg, \"long\"".into(),
                colour: "black".into(),
                need: 20,
                received: 18,
                not_good: 2,
                by: 4,
            }],
            over: vec![Row {
                part: PartId::new(),
                number: "=B-6".into(),
                name: "Shade".into(),
                colour: "white".into(),
                need: 1,
                received: 2,
                not_good: 0,
                by: 1,
            }],
            ..Report::default()
        };
        let facts = [("Kit", "Kettlehorn".to_owned()), ("Serial", String::new())];
        assert_eq!(
            report.text(&facts),
            "Kit: Kettlehorn\n\
             \n\
             Short, 1 line:\n\
             - B-4 Peg, \"long\", black: need 20, received 18 (2 of them not good), 4 short\n\
             \n\
             Over, 1 line:\n\
             - =B-6 Shade, white: need 1, received 2, 1 over\n"
        );
        // Quoting as in RFC 4180, section 2, rule 7.
        assert_eq!(
            String::from_utf8(report.csv().unwrap()).unwrap(),
            "number,name,colour,need,received,not good,short,over\n\
             B-4,\"Peg, \"\"long\"\"\",black,20,18,2,4,0\n\
             '=B-6,Shade,white,1,2,0,0,1\n"
        );
    }
}
