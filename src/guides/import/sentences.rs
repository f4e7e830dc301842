//! The sentence for each doubt, as it stands beside the line number.

use std::fmt;

use super::doubts::{Doubt, Reason};
use crate::guides::need::cycle_in_words;

/// The sentence, without the line number.
impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.reason.fmt(f)
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoPart => write!(f, "There is neither a part name nor a number."),
            Self::NoName { number, taken_as } => {
                write!(
                    f,
                    "Number {number} has no name here; it is taken as '{taken_as}'."
                )
            }
            Self::NoNumber { name } => {
                write!(
                    f,
                    "'{name}' has no number, while other rows have one. It is taken without."
                )
            }
            Self::NumberMangled { number } => write!(
                f,
                "The number {number} looks like a long one that a spreadsheet shortened. Look it up."
            ),
            Self::NumberNotKnown { number } => {
                write!(
                    f,
                    "The number {number} is not known yet. It becomes a new part."
                )
            }
            Self::NumberKnownAs {
                number,
                name,
                known,
            } => write!(
                f,
                "Number {number} is known as '{known}', and here it is '{name}'. It becomes a part of its own."
            ),
            Self::TwoNames {
                number,
                name,
                other,
                line,
            } => write!(
                f,
                "Number {number} is '{name}' here and '{other}' on line {line}. They are taken as two parts."
            ),
            Self::TwoNumbers {
                name,
                number,
                other,
                line,
            } => write!(
                f,
                "'{name}' has the number {number} here and {other} on line {line}. They are taken as two parts."
            ),
            Self::ColourMissing { name, colour, line } => write!(
                f,
                "'{name}' has no colour here, but is {colour} on line {line}. It is taken without colour, as another part."
            ),
            Self::Spelling { here, there, line } => write!(
                f,
                "'{here}' is spelled '{there}' on line {line}. They are taken as the same."
            ),
            Self::MassDiffers { name, line } => write!(
                f,
                "'{name}' has another mass here than on line {line}. The first is taken."
            ),
            Self::NoteDiffers { name, line } => write!(
                f,
                "'{name}' has another note here than on line {line}. The first is taken."
            ),
            Self::MassNotRead { cell } => {
                write!(
                    f,
                    "The mass '{cell}' cannot be read as grams. It is left out."
                )
            }
            Self::BasisNotRead { cell } => {
                write!(f, "'{cell}' says neither 'each' nor 'all'.")
            }
            Self::QuantityBlank => write!(f, "The quantity is blank. Blank is not zero."),
            Self::QuantityDash { cell } => {
                write!(f, "The quantity is '{cell}', which is not a number.")
            }
            Self::QuantityZero => write!(f, "The quantity is zero, so nothing is taken."),
            Self::QuantityFraction { cell } => {
                write!(f, "The quantity '{cell}' is not a whole number of pieces.")
            }
            Self::QuantityNegative { cell } => write!(f, "The quantity '{cell}' is below zero."),
            Self::QuantityTooLarge { cell } => {
                write!(f, "The quantity '{cell}' is more than a million.")
            }
            Self::QuantityNotANumber { cell } => {
                write!(
                    f,
                    "The quantity '{cell}' cannot be read as a number of pieces."
                )
            }
            Self::QuantityReadAs { cell, read } => {
                write!(f, "The quantity '{cell}' is read as {read}.")
            }
            Self::HalfAboveFull { half, full } => {
                write!(f, "Half needs {half} and full only {full}.")
            }
            Self::HowManyNotRead { cell } => {
                write!(
                    f,
                    "How many of the assembly: '{cell}' cannot be read as a number."
                )
            }
            Self::HowManyDiffers {
                child,
                parent,
                line,
            } => write!(
                f,
                "Line {line} says another number of '{child}' in {parent}."
            ),
            Self::SameLine { part, parent, line } => write!(
                f,
                "{part} stands in {parent} on line {line} already. Both are taken and added up."
            ),
            Self::SaidBefore { child, line } => {
                write!(
                    f,
                    "Line {line} places '{child}' there already. It is taken once."
                )
            }
            Self::Repeated { assembly, line } => write!(
                f,
                "'{assembly}' stands in another place here; what it holds is taken once, from line {line}."
            ),
            Self::RepeatedDiffers { assembly, line } => write!(
                f,
                "'{assembly}' holds another quantity here than on line {line}. If they are different assemblies, give them different names."
            ),
            Self::ContentDiffers { assembly, line } => write!(
                f,
                "'{assembly}' does not list the same parts here as on line {line}. It is taken as one assembly that holds them all; if they are different, give them different names."
            ),
            Self::NoAssembly => {
                write!(
                    f,
                    "The assembly is blank, while other rows have one. It is counted for the kit itself."
                )
            }
            Self::SeveralAssemblies { cell, count } => write!(
                f,
                "'{cell}' names {count} assemblies, and how the quantity divides is not said. It is counted once, for the kit itself; give each assembly its own row to divide it."
            ),
            Self::PerhapsSeveral { cell } => write!(
                f,
                "'{cell}' may name several assemblies. It is taken as the name of one."
            ),
            Self::NeverPlaced { assembly } => write!(
                f,
                "'{assembly}' holds others, but no row says where it belongs. It is taken to be in the kit once."
            ),
            Self::HoldsNothing { assembly } => write!(f, "'{assembly}' holds nothing."),
            Self::Cycle { names, length } => write!(f, "{}", cycle_in_words(names, *length)),
            Self::TooMany { name } => {
                write!(
                    f,
                    "The quantities of '{name}' multiply to more than can be counted."
                )
            }
            Self::TotalDiffers { told, reckoned } => {
                write!(
                    f,
                    "The total says {told}, but the line makes {reckoned} in the kit."
                )
            }
            Self::TotalNotRead { cell } => {
                write!(
                    f,
                    "The total '{cell}' cannot be read, so it is not checked."
                )
            }
            Self::SumRow => {
                write!(f, "This row adds up others. It is not taken as a part.")
            }
            Self::SumDiffers { told, reckoned } => write!(
                f,
                "This row says the sum is {told}, but the rows above it add up to {reckoned}. It is not taken as a part."
            ),
            Self::StrayQuote => write!(
                f,
                "A quotation mark stands where none belongs. Look whether the cells were cut rightly."
            ),
            Self::ExtraCells => {
                write!(f, "The row has more cells than there are column names.")
            }
            Self::HeaderAgain => write!(f, "The column names stand here again. They are left out."),
            Self::Formula { column, cell } => write!(
                f,
                "'{column}' is worked out by a formula. What it came to when the file was saved is read: {cell}."
            ),
            Self::FormulaUnknown { column } => write!(
                f,
                "'{column}' is a formula, and the file does not say what it comes to. Open the file in a spreadsheet, save it, and read it in again."
            ),
            Self::FormulaWrong { column, cell } => write!(
                f,
                "'{column}' is {cell}: the spreadsheet could not work it out. Mend the formula there."
            ),
            Self::DateMade { column, cell } => write!(
                f,
                "'{column}' is a date or a time in the spreadsheet, {cell}. It may have been a number such as 3-4 when it was typed; look it up."
            ),
            Self::DigitsLost { column } => write!(
                f,
                "'{column}' has more digits than a spreadsheet keeps of a number, so the last ones are lost. Look it up."
            ),
            Self::Merged { column, line } => write!(
                f,
                "'{column}' is one cell with line {line}, so it is read as the same here."
            ),
            Self::MergedNumber { column, line } => write!(
                f,
                "'{column}' is one cell with line {line}, so it is not clear how many are meant here. Give each line its own."
            ),
            Self::HiddenRow => write!(
                f,
                "This row is hidden in the spreadsheet. It is read like any other."
            ),
            Self::HiddenColumn { column } => write!(
                f,
                "The column '{column}' is hidden in the spreadsheet. It is read like any other."
            ),
            Self::AboveHeader => {
                write!(f, "This row stands above the column names. It is left out.")
            }
            Self::LeftOut => write!(f, "Left out by choice."),
        }
    }
}
