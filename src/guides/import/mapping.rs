//! What a person says the columns of a table mean.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::guides::need::Basis;
use crate::text::{fold, tidy};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    PartNumber,
    PartName,
    Colour,
    /// The assembly the part goes into.
    Assembly,
    /// The assembly that this row's assembly is itself part of.
    PartOf,
    /// How many of this row's assembly the one it is part of holds.
    HowMany,
    /// The whole way from the outermost assembly to the innermost in one cell.
    Path,
    /// How many pieces; one column for each size of kit.
    Quantity,
    /// Whether the quantity is for each copy of the assembly or for all of them together.
    Basis,
    /// Grams of one piece.
    Mass,
    /// How to know the part.
    Note,
    /// How many pieces the line makes in the whole kit; only checked, never taken.
    Total,
    Ignored,
}

impl Role {
    /// In the order in which a page offers them.
    pub const ALL: [Self; 13] = [
        Self::Ignored,
        Self::PartName,
        Self::PartNumber,
        Self::Colour,
        Self::Assembly,
        Self::PartOf,
        Self::HowMany,
        Self::Path,
        Self::Quantity,
        Self::Total,
        Self::Basis,
        Self::Mass,
        Self::Note,
    ];

    /// Its value in a form.
    pub fn key(self) -> &'static str {
        match self {
            Self::PartNumber => "part-number",
            Self::PartName => "part-name",
            Self::Colour => "colour",
            Self::Assembly => "assembly",
            Self::PartOf => "part-of",
            Self::HowMany => "how-many",
            Self::Path => "path",
            Self::Quantity => "quantity",
            Self::Basis => "basis",
            Self::Mass => "mass",
            Self::Note => "note",
            Self::Total => "total",
            Self::Ignored => "ignored",
        }
    }

    /// Its name on the page.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::PartNumber => "part number",
            Self::PartName => "part name",
            Self::Colour => "colour",
            Self::Assembly => "assembly",
            Self::PartOf => "the assembly that one is part of",
            Self::HowMany => "how many of that assembly",
            Self::Path => "assemblies from outside in",
            Self::Quantity => "quantity",
            Self::Basis => "for each or for all",
            Self::Mass => "mass of one piece in grams",
            Self::Note => "how to know it",
            Self::Total => "total in the kit, to check against",
            Self::Ignored => "leave out",
        }
    }

    fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.key() == key)
    }

    /// Whether the column belongs to one size of kit.
    pub fn has_size(self) -> bool {
        matches!(self, Self::Quantity | Self::Total)
    }
}

/// One column of the table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Column {
    pub role: Role,
    /// The size of kit a quantity or total is for; empty where there is only one.
    #[serde(default)]
    pub size: String,
}

/// What an empty assembly cell says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BlankAssembly {
    /// The part belongs to the kit itself.
    #[default]
    Kit,
    /// The assembly of the row above goes on.
    AsAbove,
}

/// What the columns of a table mean, and what a person decided about its rows.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mapping {
    /// One for each column of the table, from the left.
    pub columns: Vec<Column>,
    /// What a quantity counts for where no column says it.
    pub basis: Basis,
    pub blank_assembly: BlankAssembly,
    /// What stands between the assemblies of a path.
    pub path_separator: char,
    /// Lines the person chose to leave out.
    #[serde(default)]
    pub left_out: BTreeSet<u32>,
}

/// The separators a path may have, in the order in which they are guessed.
pub const PATH_SEPARATORS: [char; 4] = ['/', '>', '\\', '|'];

/// Why a mapping makes no parts list.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum MappingWrong {
    #[error("Say which column holds the part's name or its number.")]
    NoPart,
    #[error("Say which column holds the quantity.")]
    NoQuantity,
    #[error("Columns {first} and {second} are both '{}'. Only one can be.", role.in_words())]
    Twice {
        role: Role,
        first: usize,
        second: usize,
    },
    #[error(
        "Columns {first} and {second} both hold the quantity of the size '{size}'. Give each its own size."
    )]
    SameSize {
        size: String,
        first: usize,
        second: usize,
    },
    #[error("There are several quantities, so say which size column {column} is for.")]
    SizeMissing { column: usize },
    #[error("The total in column {column} is for the size '{size}', which has no quantity.")]
    SizeUnknown { size: String, column: usize },
    #[error("Column {column} is '{}', so say which column holds the assembly.", role.in_words())]
    NoAssembly { role: Role, column: usize },
    #[error(
        "Assemblies are given twice: by the path in column {path} and by column {other}. Leave one of them out."
    )]
    TwoWays { path: usize, other: usize },
    #[error("A path cannot be cut at '{0}'.")]
    PathSeparator(char),
    #[error(
        "The form does not fit the table: it tells of {told} columns, and the table has {found}."
    )]
    OtherTable { told: usize, found: usize },
    #[error("The form holds a value that is not offered: '{0}'.")]
    Unknown(String),
}

impl Mapping {
    /// A mapping that leaves out every column.
    pub fn empty(width: usize) -> Self {
        let column = Column {
            role: Role::Ignored,
            size: String::new(),
        };
        Self {
            columns: vec![column; width],
            basis: Basis::Each,
            blank_assembly: BlankAssembly::Kit,
            path_separator: PATH_SEPARATORS[0],
            left_out: BTreeSet::new(),
        }
    }

    /// Reads the fields of a form: `role-0`, `size-0` and so on from the left, `basis`,
    /// `blank-assembly`, `path-separator`, and `leave-out` once for each line left out.
    /// Other fields are not its business.
    pub fn from_fields<'a>(
        width: usize,
        fields: impl IntoIterator<Item = (&'a str, &'a str)>,
    ) -> Result<Self, MappingWrong> {
        let mut mapping = Self::empty(width);
        for (name, value) in fields {
            mapping.set_field(name, value)?;
        }
        Ok(mapping)
    }

    fn set_field(&mut self, name: &str, value: &str) -> Result<(), MappingWrong> {
        let unknown = || MappingWrong::Unknown(value.chars().take(40).collect());
        if let Some(column) = name.strip_prefix("role-") {
            self.column(column)?.role = Role::from_key(value).ok_or_else(unknown)?;
        } else if let Some(column) = name.strip_prefix("size-") {
            self.column(column)?.size = tidy(value);
        } else {
            match (name, value) {
                ("basis", "each") => self.basis = Basis::Each,
                ("basis", "all") => self.basis = Basis::All,
                ("blank-assembly", "kit") => self.blank_assembly = BlankAssembly::Kit,
                ("blank-assembly", "as-above") => self.blank_assembly = BlankAssembly::AsAbove,
                ("path-separator", value) => {
                    let mut letters = value.chars();
                    match (letters.next(), letters.next()) {
                        (Some(separator), None) => self.path_separator = separator,
                        _ => return Err(unknown()),
                    }
                }
                ("leave-out", line) => {
                    self.left_out.insert(line.parse().map_err(|_| unknown())?);
                }
                ("basis" | "blank-assembly", _) => return Err(unknown()),
                _ => {}
            }
        }
        Ok(())
    }

    fn column(&mut self, at: &str) -> Result<&mut Column, MappingWrong> {
        let found = self.columns.len();
        let at: usize = at
            .parse()
            .map_err(|_| MappingWrong::Unknown(at.to_owned()))?;
        let told = at.saturating_add(1);
        self.columns
            .get_mut(at)
            .ok_or(MappingWrong::OtherTable { told, found })
    }

    /// The fields [`Mapping::from_fields`] reads back as this mapping.
    pub fn fields(&self) -> Vec<(String, String)> {
        let mut fields = Vec::new();
        for (at, column) in self.columns.iter().enumerate() {
            fields.push((format!("role-{at}"), column.role.key().to_owned()));
            fields.push((format!("size-{at}"), column.size.clone()));
        }
        let basis = match self.basis {
            Basis::Each => "each",
            Basis::All => "all",
        };
        let blank = match self.blank_assembly {
            BlankAssembly::Kit => "kit",
            BlankAssembly::AsAbove => "as-above",
        };
        fields.push(("basis".to_owned(), basis.to_owned()));
        fields.push(("blank-assembly".to_owned(), blank.to_owned()));
        fields.push(("path-separator".to_owned(), self.path_separator.to_string()));
        for line in &self.left_out {
            fields.push(("leave-out".to_owned(), line.to_string()));
        }
        fields
    }

    /// The columns with this role, from the left.
    pub fn with_role(&self, role: Role) -> impl Iterator<Item = usize> + '_ {
        let columns = self.columns.iter().enumerate();
        columns
            .filter(move |(_, column)| column.role == role)
            .map(|(at, _)| at)
    }

    /// The first column with this role.
    pub fn find(&self, role: Role) -> Option<usize> {
        self.with_role(role).next()
    }

    /// The sizes of kit with a quantity, from the left; the only one may have an empty name.
    pub fn sizes(&self) -> Vec<String> {
        self.with_role(Role::Quantity)
            .map(|at| self.columns[at].size.clone())
            .collect()
    }

    /// Everything that keeps this mapping from making a parts list of a table of this width.
    /// Columns are named as a person counts them, from 1.
    pub fn wrongs(&self, width: usize) -> Vec<MappingWrong> {
        let mut wrongs = Vec::new();
        if self.columns.len() != width {
            wrongs.push(MappingWrong::OtherTable {
                told: self.columns.len(),
                found: width,
            });
        }
        if !PATH_SEPARATORS.contains(&self.path_separator) {
            wrongs.push(MappingWrong::PathSeparator(self.path_separator));
        }
        if self
            .find(Role::PartNumber)
            .or(self.find(Role::PartName))
            .is_none()
        {
            wrongs.push(MappingWrong::NoPart);
        }
        for role in Role::ALL {
            if role == Role::Ignored || role.has_size() {
                continue;
            }
            let mut columns = self.with_role(role);
            if let (Some(first), Some(second)) = (columns.next(), columns.next()) {
                wrongs.push(MappingWrong::Twice {
                    role,
                    first: first + 1,
                    second: second + 1,
                });
            }
        }
        self.check_sizes(&mut wrongs);
        self.check_assemblies(&mut wrongs);
        wrongs
    }

    fn check_sizes(&self, wrongs: &mut Vec<MappingWrong>) {
        let quantities: Vec<usize> = self.with_role(Role::Quantity).collect();
        if quantities.is_empty() {
            wrongs.push(MappingWrong::NoQuantity);
        }
        let size = |at: usize| fold(&self.columns[at].size);
        for role in [Role::Quantity, Role::Total] {
            let columns: Vec<usize> = self.with_role(role).collect();
            for (nth, second) in columns.iter().enumerate() {
                let first = columns[..nth]
                    .iter()
                    .find(|first| size(**first) == size(*second));
                if size(*second).is_empty() && quantities.len() > 1 {
                    wrongs.push(MappingWrong::SizeMissing { column: second + 1 });
                } else if let Some(first) = first {
                    let name = self.columns[*second].size.clone();
                    let (first, second) = (first + 1, second + 1);
                    wrongs.push(match role {
                        Role::Quantity if !name.is_empty() || quantities.len() > 1 => {
                            MappingWrong::SameSize {
                                size: name,
                                first,
                                second,
                            }
                        }
                        _ => MappingWrong::Twice {
                            role,
                            first,
                            second,
                        },
                    });
                }
            }
        }
        for total in self.with_role(Role::Total) {
            let known = quantities
                .iter()
                .any(|quantity| size(*quantity) == size(total));
            if !known && !size(total).is_empty() && !quantities.is_empty() {
                let size = self.columns[total].size.clone();
                wrongs.push(MappingWrong::SizeUnknown {
                    size,
                    column: total + 1,
                });
            }
        }
    }

    fn check_assemblies(&self, wrongs: &mut Vec<MappingWrong>) {
        let (assembly, path) = (self.find(Role::Assembly), self.find(Role::Path));
        let part_of = self.find(Role::PartOf);
        if let (Some(path), Some(other)) = (path, assembly.or(part_of)) {
            wrongs.push(MappingWrong::TwoWays {
                path: path + 1,
                other: other + 1,
            });
        }
        if assembly.is_none() && path.is_none() {
            for role in [Role::PartOf, Role::HowMany] {
                if let Some(column) = self.find(role) {
                    wrongs.push(MappingWrong::NoAssembly {
                        role,
                        column: column + 1,
                    });
                }
            }
        }
    }
}

#[cfg(test)]
#[path = "mapping_tests.rs"]
mod tests;
