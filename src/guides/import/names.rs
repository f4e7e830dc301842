//! The words people write above their columns, and what each speaks for.

use super::mapping::Role;
use crate::text::fold;

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
pub(super) const BEYOND_DOUBT: u32 = 130;

/// Words in a quantity's name that are no name of a size.
pub(super) const NOT_A_SIZE: [&str; 33] = [
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
pub(super) fn words(name: &str) -> String {
    let spaced: String = name
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { ' ' })
        .collect();
    fold(&spaced)
}

/// The roles a name speaks for, each with how surely.
pub(super) fn meanings(words: &str) -> Vec<(Role, u32)> {
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
