//! A good guess at what the columns of a table mean, from their names and what is in them.

use super::cells;
use super::mapping::{BlankAssembly, Mapping, PATH_SEPARATORS, Role};
use super::names::{BEYOND_DOUBT, NOT_A_SIZE, meanings, words};
use super::table::Table;
use crate::text::{fold, tidy};

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
                Role::Quantity => (numeric || sure >= BEYOND_DOUBT) && self.money == 0,
                Role::HowMany | Role::Total => numeric && self.money == 0,
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
    let sizes: Vec<String> = mapping.sizes().iter().map(|size| fold(size)).collect();
    if sizes.len() > 1 {
        // A total of a size without a quantity has nothing to be checked against.
        for column in mapping
            .columns
            .iter_mut()
            .filter(|column| column.role == Role::Total)
        {
            if !sizes.contains(&fold(&column.size)) {
                column.role = Role::Ignored;
                column.size.clear();
            }
        }
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
