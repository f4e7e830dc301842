//! A good guess at what the columns of a table mean, from their names and what is in them.

use super::cells;
use super::mapping::{BlankAssembly, Mapping, PATH_SEPARATORS, Role};
use super::table::Table;
use crate::text::{fold, tidy};

/// Words that name a column, the surest first. A phrase must be whole words of the name.
///
/// Words of buying come first: "quantity to buy" is not what the kit holds.
const NAMES: [(Role, u32, &[&str]); 17] = [
    (
        Role::Ignored,
        200,
        &[
            "price",
            "cost",
            "to buy",
            "to order",
            "pack",
            "packs",
            "supplier",
            "vendor",
            "site",
            "link",
            "url",
            "web",
            "image",
            "picture",
            "photo",
            "stock",
            "kg",
            "kilograms",
            "lb",
            "lbs",
            "oz",
            "pounds",
        ],
    ),
    (
        Role::HowMany,
        150,
        &[
            "how many of it",
            "how many of that assembly",
            "how many of the assembly",
            "how many of them",
            "assembly quantity",
            "assembly qty",
            "assembly count",
            "number of assemblies",
            "times",
            "copies",
        ],
    ),
    (
        Role::PartOf,
        140,
        &[
            "part of",
            "parent",
            "parent assembly",
            "belongs to",
            "higher assembly",
            "next assembly",
            "inside of",
        ],
    ),
    (
        Role::Path,
        130,
        &[
            "path",
            "assembly path",
            "assemblies from outside in",
            "tree",
        ],
    ),
    (
        Role::Basis,
        130,
        &["basis", "for each or for all", "each or all", "counted for"],
    ),
    (
        Role::Note,
        120,
        &[
            "how to know it",
            "note",
            "notes",
            "remark",
            "remarks",
            "comment",
            "comments",
            "hint",
            "looks like",
        ],
    ),
    (
        Role::PartNumber,
        110,
        &[
            "part number",
            "part no",
            "part nr",
            "part num",
            "part id",
            "part code",
            "p n",
            "pn",
            "item number",
            "item no",
            "piece number",
            "article number",
            "article no",
        ],
    ),
    (
        Role::Mass,
        110,
        &[
            "mass", "weight", "grams", "gram", "g each", "mass g", "weight g",
        ],
    ),
    (Role::Colour, 110, &["colour", "color", "colours", "colors"]),
    (
        Role::PartName,
        110,
        &["part name", "name of part", "piece name", "item name"],
    ),
    (
        Role::Total,
        105,
        &[
            "total in the kit",
            "total",
            "line total",
            "total pieces",
            "in all",
            "sum",
            "altogether",
        ],
    ),
    (
        Role::Quantity,
        100,
        &[
            "quantity",
            "qty",
            "quantities",
            "number of pieces",
            "how many",
            "count",
            "pieces",
            "pcs",
            "amount",
            "needed",
            "need",
            "required",
            "number needed",
            "number required",
            "per assembly",
            "in assembly",
            "in the assembly",
        ],
    ),
    (
        Role::Assembly,
        100,
        &[
            "assembly",
            "assemblies",
            "sub assembly",
            "subassembly",
            "used in",
            "goes into",
            "module",
            "section",
            "sections",
            "group",
            "area",
        ],
    ),
    (Role::Quantity, 95, &["half", "full"]),
    (
        Role::PartName,
        90,
        &[
            "name",
            "description",
            "part",
            "parts",
            "piece",
            "component",
            "item",
        ],
    ),
    (
        Role::PartNumber,
        80,
        &[
            "number",
            "no",
            "nr",
            "code",
            "ref",
            "reference",
            "id",
            "article",
        ],
    ),
    (Role::Quantity, 60, &["used", "each"]),
];

/// From here on a name is believed whatever is in the column.
const BEYOND_DOUBT: u32 = 130;

/// Words in a quantity's name that are no name of a size.
const NOT_A_SIZE: [&str; 33] = [
    "quantity",
    "qty",
    "quantities",
    "number",
    "of",
    "pieces",
    "piece",
    "how",
    "many",
    "count",
    "pcs",
    "amount",
    "needed",
    "need",
    "required",
    "total",
    "in",
    "the",
    "a",
    "for",
    "per",
    "kit",
    "field",
    "set",
    "all",
    "it",
    "used",
    "each",
    "assembly",
    "project",
    "size",
    "line",
    "sum",
];

/// Whether a cell reads like the name of a column.
pub(super) fn is_column_name(cell: &str) -> bool {
    cell.len() <= 60 && !meanings(&words(cell)).is_empty()
}

/// The words of a column's name, with marks such as `/`, `#` and `(` taken for spaces.
fn words(name: &str) -> String {
    let spaced: String = name
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { ' ' })
        .collect();
    fold(&spaced)
}

/// The roles a name speaks for, each with how surely.
fn meanings(words: &str) -> Vec<(Role, u32)> {
    let padded = format!(" {words} ");
    let mut found = Vec::new();
    for (role, sure, phrases) in NAMES {
        for phrase in phrases {
            if padded.contains(&format!(" {phrase} ")) {
                // A longer phrase says more, and a name that is nothing else is surer still.
                let length = u32::try_from(phrase.len()).unwrap_or(0);
                let alone = if words == *phrase { 25 } else { 0 };
                found.push((role, sure + length + alone));
            }
        }
    }
    found
}

/// What is in a column.
#[derive(Debug, Default)]
struct Content {
    written: usize,
    numbers: usize,
    money: usize,
    /// How many cells each path separator cuts.
    cut: [usize; PATH_SEPARATORS.len()],
}

impl Content {
    /// Whether what is in the column can be what its name says.
    fn fits(&self, role: Role, sure: u32) -> bool {
        let numeric = self.numbers * 2 >= self.written;
        self.written > 0
            && match role {
                Role::Quantity | Role::HowMany | Role::Total => numeric && self.money == 0,
                // Assemblies may be called 1, 2, 3; but "item" above numbers only counts rows.
                Role::Assembly | Role::Path | Role::PartOf | Role::PartName => {
                    !numeric || sure >= BEYOND_DOUBT
                }
                _ => true,
            }
    }
}

fn content(table: &Table, column: usize) -> Content {
    let mut content = Content::default();
    for row in &table.rows {
        let cell = row.cell(column);
        if cell.is_empty() {
            continue;
        }
        content.written += 1;
        content.numbers += usize::from(cells::quantity(cell).is_number());
        content.money += usize::from(cell.contains(['$', '€', '£', '¥']));
        for (at, separator) in PATH_SEPARATORS.into_iter().enumerate() {
            content.cut[at] += usize::from(is_cut(cell, separator));
        }
    }
    content
}

/// A path has words on both sides; a slash counts only with spaces, because "3/8" is a size.
fn is_cut(cell: &str, separator: char) -> bool {
    let Some((before, after)) = cell.split_once(separator) else {
        return false;
    };
    let letters = |side: &str| side.chars().any(char::is_alphabetic);
    let apart = separator != '/' || (before.ends_with(' ') && after.starts_with(' '));
    letters(before) && letters(after) && apart
}

/// What the columns most likely mean. A person looks at it before anything is made of it.
pub fn guess(table: &Table) -> Mapping {
    let width = table.width();
    let mut mapping = Mapping::empty(width);
    let contents: Vec<Content> = (0..width).map(|column| content(table, column)).collect();
    let mut wishes: Vec<(u32, usize, Role)> = Vec::new();
    for (column, content) in contents.iter().enumerate() {
        for (role, sure) in meanings(&words(table.header.cell(column))) {
            if content.fits(role, sure) {
                wishes.push((sure, column, role));
            }
        }
    }
    wishes.sort_by_key(|(sure, column, _)| (std::cmp::Reverse(*sure), *column));
    let mut decided = vec![false; width];
    for (_, column, role) in wishes {
        if !decided[column] {
            decided[column] = grant(&mut mapping, table, column, role);
        }
    }
    // A list that only has totals means them as its quantities.
    if mapping.find(Role::Quantity).is_none() {
        for column in mapping
            .columns
            .iter_mut()
            .filter(|column| column.role == Role::Total)
        {
            column.role = Role::Quantity;
        }
    }
    // A name that was crowded out by another column may still serve as the part's name.
    if mapping
        .find(Role::PartName)
        .or(mapping.find(Role::PartNumber))
        .is_none()
    {
        let text = |column: &usize| contents[*column].numbers == 0 && contents[*column].written > 0;
        let free = |column: &usize| {
            mapping.columns[*column].role == Role::Ignored
                && meanings(&words(table.header.cell(*column))).is_empty()
        };
        if let Some(column) = (0..width).find(|column| text(column) && free(column)) {
            mapping.columns[column].role = Role::PartName;
        }
    }
    guess_assemblies(&mut mapping, table, &contents);
    name_sizes(&mut mapping, table);
    mapping
}

/// Gives a column its role unless another has it; answers whether the column is settled.
fn grant(mapping: &mut Mapping, table: &Table, column: usize, role: Role) -> bool {
    let size = if role.has_size() {
        size_name(table.header.cell(column))
    } else {
        String::new()
    };
    let taken = mapping
        .with_role(role)
        .any(|other| !role.has_size() || fold(&mapping.columns[other].size) == fold(&size));
    if taken && role != Role::Ignored {
        return false;
    }
    mapping.columns[column].role = role;
    mapping.columns[column].size = size;
    true
}

/// The size in a name such as "Quantity half field": what is left without the usual words.
/// In "Quantity (long field)" the brackets say where it begins and ends.
fn size_name(header: &str) -> String {
    let is_usual = |word: &str| NOT_A_SIZE.contains(&fold(word).as_str());
    if let Some(inside) = bracketed(header)
        && !words(inside).split(' ').all(is_usual)
    {
        return tidy(inside);
    }
    let cleaned: String = header
        .chars()
        .map(|c| {
            if c.is_alphanumeric() || c == '-' {
                c
            } else {
                ' '
            }
        })
        .collect();
    let left: Vec<&str> = cleaned
        .split_whitespace()
        .filter(|word| !is_usual(word))
        .collect();
    left.join(" ")
}

fn bracketed(header: &str) -> Option<&str> {
    header
        .strip_suffix(')')?
        .split_once('(')
        .map(|(_, inside)| inside)
}

/// The only quantity needs no size, unless its name plainly is one.
fn name_sizes(mapping: &mut Mapping, table: &Table) {
    if mapping.with_role(Role::Quantity).count() > 1 {
        return;
    }
    for (at, column) in mapping.columns.iter_mut().enumerate() {
        let plain = matches!(fold(&column.size).as_str(), "half" | "full")
            || bracketed(table.header.cell(at)).is_some();
        if column.role == Role::Total || (column.role == Role::Quantity && !plain) {
            column.size.clear();
        }
    }
    // A second total would now be the same as the first.
    let totals: Vec<usize> = mapping.with_role(Role::Total).skip(1).collect();
    for total in totals {
        mapping.columns[total].role = Role::Ignored;
    }
}

fn guess_assemblies(mapping: &mut Mapping, table: &Table, contents: &[Content]) {
    let (assembly, part_of) = (mapping.find(Role::Assembly), mapping.find(Role::PartOf));
    let column = mapping.find(Role::Path).or(assembly);
    if let Some(column) = column {
        let content = &contents[column];
        let cut = content
            .cut
            .iter()
            .enumerate()
            .max_by_key(|(at, cut)| (**cut, usize::MAX - at));
        if let Some((at, cut)) = cut
            && cut * 3 >= content.written.max(1)
            && part_of.is_none()
        {
            mapping.columns[column].role = Role::Path;
            mapping.path_separator = PATH_SEPARATORS[at];
        }
    }
    if mapping.find(Role::Path).is_some() {
        for role in [Role::Assembly, Role::PartOf] {
            if let Some(column) = mapping.find(role) {
                mapping.columns[column].role = Role::Ignored;
            }
        }
    }
    let lonely = mapping
        .find(Role::Path)
        .or(mapping.find(Role::Assembly))
        .is_none();
    if lonely && let Some(part_of) = mapping.find(Role::PartOf) {
        // With parts only, "part of" names the assembly of the part.
        mapping.columns[part_of].role = Role::Assembly;
    }
    if lonely && let Some(column) = mapping.find(Role::HowMany) {
        mapping.columns[column].role = Role::Ignored;
    }
    if let Some(column) = mapping.find(Role::Path).or(mapping.find(Role::Assembly)) {
        let rows: Vec<_> = table.rows.iter().filter(|row| !row.is_blank()).collect();
        let blank = rows
            .iter()
            .filter(|row| row.cell(column).is_empty())
            .count();
        let begins = rows.first().is_some_and(|row| !row.cell(column).is_empty());
        if begins && blank * 2 >= rows.len() {
            mapping.blank_assembly = BlankAssembly::AsAbove;
        }
    }
}
