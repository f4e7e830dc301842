//! What is doubtful about the rows of a file. The sentences are in `sentences.rs`.

/// What becomes of a doubtful line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The line cannot be taken. Change the file or the mapping, or choose to leave it out.
    Stops,
    /// The line is dealt with as the sentence says, but somebody should look.
    Look,
}

/// A doubt about one line of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doubt {
    pub line: u32,
    pub reason: Reason,
}

/// What is doubtful.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reason {
    NoPart,
    NoName {
        number: String,
        taken_as: String,
    },
    NoNumber {
        name: String,
    },
    NumberMangled {
        number: String,
    },
    NumberNotKnown {
        number: String,
    },
    NumberKnownAs {
        number: String,
        name: String,
        known: String,
    },
    TwoNames {
        number: String,
        name: String,
        other: String,
        line: u32,
    },
    TwoNumbers {
        name: String,
        number: String,
        other: String,
        line: u32,
    },
    ColourMissing {
        name: String,
        colour: String,
        line: u32,
    },
    Spelling {
        here: String,
        there: String,
        line: u32,
    },
    MassDiffers {
        name: String,
        line: u32,
    },
    NoteDiffers {
        name: String,
        line: u32,
    },
    MassNotRead {
        cell: String,
    },
    BasisNotRead {
        cell: String,
    },
    QuantityBlank,
    QuantityDash {
        cell: String,
    },
    QuantityZero,
    QuantityFraction {
        cell: String,
    },
    QuantityNegative {
        cell: String,
    },
    QuantityTooLarge {
        cell: String,
    },
    QuantityNotANumber {
        cell: String,
    },
    QuantityReadAs {
        cell: String,
        read: u64,
    },
    HalfAboveFull {
        half: u64,
        full: u64,
    },
    HowManyNotRead {
        cell: String,
    },
    HowManyDiffers {
        child: String,
        parent: String,
        line: u32,
    },
    SameLine {
        part: String,
        parent: String,
        line: u32,
    },
    SaidBefore {
        child: String,
        line: u32,
    },
    Repeated {
        assembly: String,
        line: u32,
    },
    RepeatedDiffers {
        assembly: String,
        line: u32,
    },
    ContentDiffers {
        assembly: String,
        line: u32,
    },
    NoAssembly,
    SeveralAssemblies {
        cell: String,
        count: usize,
    },
    PerhapsSeveral {
        cell: String,
    },
    NeverPlaced {
        assembly: String,
    },
    HoldsNothing {
        assembly: String,
    },
    /// The first names of a cycle, and how many assemblies it has.
    Cycle {
        names: Vec<String>,
        length: usize,
    },
    TooMany {
        name: String,
    },
    TotalDiffers {
        told: u64,
        reckoned: u64,
    },
    TotalNotRead {
        cell: String,
    },
    SumRow,
    SumDiffers {
        told: u64,
        reckoned: u64,
    },
    StrayQuote,
    ExtraCells,
    HeaderAgain,
    AboveHeader,
    LeftOut,
    Formula {
        column: String,
        cell: String,
    },
    FormulaUnknown {
        column: String,
    },
    FormulaWrong {
        column: String,
        cell: String,
    },
    DateMade {
        column: String,
        cell: String,
    },
    DigitsLost {
        column: String,
    },
    Merged {
        column: String,
        line: u32,
    },
    MergedNumber {
        column: String,
        line: u32,
    },
    HiddenRow,
    HiddenColumn {
        column: String,
    },
}

impl Doubt {
    pub fn severity(&self) -> Severity {
        match self.reason {
            Reason::NoPart
            | Reason::FormulaUnknown { .. }
            | Reason::FormulaWrong { .. }
            | Reason::MergedNumber { .. }
            | Reason::BasisNotRead { .. }
            | Reason::QuantityBlank
            | Reason::QuantityDash { .. }
            | Reason::QuantityFraction { .. }
            | Reason::QuantityNegative { .. }
            | Reason::QuantityTooLarge { .. }
            | Reason::QuantityNotANumber { .. }
            | Reason::HowManyNotRead { .. }
            | Reason::HowManyDiffers { .. }
            | Reason::RepeatedDiffers { .. }
            | Reason::Cycle { .. }
            | Reason::TooMany { .. } => Severity::Stops,
            Reason::NoName { .. }
            | Reason::NoNumber { .. }
            | Reason::NumberMangled { .. }
            | Reason::NumberNotKnown { .. }
            | Reason::NumberKnownAs { .. }
            | Reason::TwoNames { .. }
            | Reason::TwoNumbers { .. }
            | Reason::ColourMissing { .. }
            | Reason::Spelling { .. }
            | Reason::MassDiffers { .. }
            | Reason::NoteDiffers { .. }
            | Reason::MassNotRead { .. }
            | Reason::QuantityZero
            | Reason::QuantityReadAs { .. }
            | Reason::HalfAboveFull { .. }
            | Reason::SameLine { .. }
            | Reason::SaidBefore { .. }
            | Reason::Repeated { .. }
            | Reason::ContentDiffers { .. }
            | Reason::NoAssembly
            | Reason::SeveralAssemblies { .. }
            | Reason::PerhapsSeveral { .. }
            | Reason::NeverPlaced { .. }
            | Reason::HoldsNothing { .. }
            | Reason::TotalDiffers { .. }
            | Reason::TotalNotRead { .. }
            | Reason::SumRow
            | Reason::SumDiffers { .. }
            | Reason::StrayQuote
            | Reason::ExtraCells
            | Reason::HeaderAgain
            | Reason::AboveHeader
            | Reason::LeftOut
            | Reason::Formula { .. }
            | Reason::DateMade { .. }
            | Reason::DigitsLost { .. }
            | Reason::Merged { .. }
            | Reason::HiddenRow
            | Reason::HiddenColumn { .. } => Severity::Look,
        }
    }
}
