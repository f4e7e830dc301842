//! A packing list cut into sheets, since not every browser repeats a table's head on paper. Pure.

/// One line: so many pieces.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    pub number: String,
    pub name: String,
    pub colour: String,
    /// Said only when it is not "good".
    pub state: &'static str,
    pub qty: i64,
}

/// What lies in one place: the crate itself, or a bag in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Section {
    pub title: String,
    /// It began on an earlier sheet.
    pub goes_on: bool,
    pub rows: Vec<Row>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    pub n: usize,
    pub of: usize,
    pub sections: Vec<Section>,
}

/// Cuts sections into sheets of at most `room` lines, headings counted. An empty section keeps its
/// heading: "empty" is something to check, too.
pub fn sheets(sections: Vec<Section>, room: usize) -> Vec<Sheet> {
    let room = room.max(2);
    let mut sheets: Vec<Vec<Section>> = vec![Vec::new()];
    let mut left = room;
    for section in sections {
        let mut rows = section.rows.into_iter().peekable();
        let mut goes_on = section.goes_on;
        loop {
            // A heading at the foot of a sheet without a line under it helps nobody.
            if left < 2 {
                sheets.push(Vec::new());
                left = room;
            }
            let taken: Vec<Row> = rows.by_ref().take(left - 1).collect();
            left -= 1 + taken.len();
            if let Some(sheet) = sheets.last_mut() {
                sheet.push(Section {
                    title: section.title.clone(),
                    goes_on,
                    rows: taken,
                });
            }
            goes_on = true;
            if rows.peek().is_none() {
                break;
            }
        }
    }
    let of = sheets.len();
    (1..)
        .zip(sheets)
        .map(|(n, sections)| Sheet { n, of, sections })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn section(title: &str, lines: usize) -> Section {
        Section {
            title: title.into(),
            goes_on: false,
            rows: (0..lines)
                .map(|n| Row {
                    number: n.to_string(),
                    name: "Peg".into(),
                    colour: String::new(),
                    state: "",
                    qty: 1,
                })
                .collect(),
        }
    }

    #[test]
    fn no_line_is_lost_and_no_sheet_is_too_long() {
        let told = |sections: &[usize], room| -> Vec<String> {
            let sections = (1..)
                .zip(sections)
                .map(|(n, lines)| section(&format!("S{n}"), *lines))
                .collect();
            sheets(sections, room)
                .iter()
                .map(|sheet| {
                    let parts: Vec<String> = sheet
                        .sections
                        .iter()
                        .map(|s| {
                            format!(
                                "{}{}:{}",
                                s.title,
                                if s.goes_on { "+" } else { "" },
                                s.rows.len()
                            )
                        })
                        .collect();
                    format!("{}/{} {}", sheet.n, sheet.of, parts.join(" "))
                })
                .collect()
        };
        assert_eq!(told(&[3, 0, 2], 18), ["1/1 S1:3 S2:0 S3:2"]);
        assert_eq!(told(&[17, 2], 18), ["1/2 S1:17", "2/2 S2:2"]);
        assert_eq!(told(&[16, 2], 18), ["1/2 S1:16", "2/2 S2:2"]);
        assert_eq!(told(&[15, 2], 18), ["1/2 S1:15 S2:1", "2/2 S2+:1"]);
        assert_eq!(told(&[40], 18), ["1/3 S1:17", "2/3 S1+:17", "3/3 S1+:6"]);
        assert_eq!(told(&[], 18), ["1/1 "]);
    }
}
