//! What somebody put on a scale, as typed and as it is reckoned with, and the answer in words. Pure.

use crate::reckon::weighing::{self, Advice, Pieces, Weighed, WeighingRefused};

use super::tally::MOST;

/// The fields of the form, as typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Typed {
    pub gross: String,
    pub tare: String,
    pub step: String,
    /// Single pieces: "12.1 11.9 12.0".
    pub sample: String,
    pub sample_step: String,
}

/// What was read from them, all in grams.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    pub gross: f64,
    pub tare: f64,
    pub step: f64,
    pub sample: Vec<f64>,
    pub sample_step: f64,
    pub answer: Pieces,
}

/// What has to be put right in a field.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReadRefused {
    #[error("type a mass in grams, such as 1250 or 1.25 kg")]
    Mass,
    #[error("type what one digit of the scale is worth in grams, such as 1 or 0.1")]
    Step,
    #[error("type the mass of each single piece, with a space between them: 12.1 11.9 12.0")]
    Sample,
    #[error("at most 60 single pieces")]
    LongSample,
    #[error("a line holds at most {MOST} pieces")]
    TooMany,
    #[error("{0}")]
    Weighing(WeighingRefused),
}

/// Most single pieces that are weighed.
const MOST_WEIGHED: usize = 60;

/// A mass as people write it, in grams: "1250", "1,25 kg", "12.5 g".
fn mass(text: &str) -> Option<f64> {
    let text = text.trim().to_lowercase().replace(',', ".");
    let (number, factor) = match text.strip_suffix("kg") {
        Some(number) => (number, 1000.0),
        None => (text.strip_suffix('g').unwrap_or(&text), 1.0),
    };
    let number: f64 = number.trim().parse().ok()?;
    (number.is_finite() && number >= 0.0).then_some(number * factor)
}

/// Reads the form and reckons. Names every field that is wrong.
pub fn read(typed: &Typed) -> Result<Reading, Vec<(&'static str, ReadRefused)>> {
    let mut wrongs = Vec::new();
    let mut take = |field, value: Option<f64>, wrong| {
        value.unwrap_or_else(|| {
            wrongs.push((field, wrong));
            0.0
        })
    };
    let gross = take("gross", mass(&typed.gross), ReadRefused::Mass);
    let tare = take("tare", mass(&typed.tare), ReadRefused::Mass);
    let above_zero = |text| mass(text).filter(|step| *step > 0.0);
    let step = take("step", above_zero(&typed.step), ReadRefused::Step);
    let sample_step = take(
        "sample_step",
        above_zero(&typed.sample_step),
        ReadRefused::Step,
    );
    let pieces: Option<Vec<f64>> = typed
        .sample
        .split(|c: char| c.is_whitespace() || c == ';')
        .filter(|word| !word.is_empty())
        .map(mass)
        .collect();
    let sample = match pieces {
        Some(sample) if sample.len() > MOST_WEIGHED => {
            wrongs.push(("sample", ReadRefused::LongSample));
            Vec::new()
        }
        Some(sample) => sample,
        None => {
            wrongs.push(("sample", ReadRefused::Sample));
            Vec::new()
        }
    };
    if !wrongs.is_empty() {
        return Err(wrongs);
    }
    let weighed = Weighed {
        gross,
        tare,
        step,
        sample: &sample,
        sample_step,
    };
    match weighing::pieces(&weighed) {
        Ok(answer) if i64::try_from(answer.pieces).is_ok_and(|pieces| pieces <= MOST) => {
            Ok(Reading {
                gross,
                tare,
                step,
                sample,
                sample_step,
                answer,
            })
        }
        Ok(_) => Err(vec![("gross", ReadRefused::TooMany)]),
        Err(refused) => {
            let field = match refused {
                WeighingRefused::Mass | WeighingRefused::TooMany => "gross",
                WeighingRefused::Tare => "tare",
                WeighingRefused::Step => "step",
                WeighingRefused::TooFewWeighed | WeighingRefused::TooLight => "sample",
            };
            Err(vec![(field, ReadRefused::Weighing(refused))])
        }
    }
}

impl Reading {
    pub fn pieces(&self) -> i64 {
        i64::try_from(self.answer.pieces).unwrap_or(MOST)
    }

    pub fn is_good_to_one(&self) -> bool {
        self.answer.advice == Advice::Trust
    }

    /// "119 pieces: good to one piece." or how far off it may be, and what to do about it.
    pub fn words(&self) -> String {
        let pieces = self.pieces();
        let off = self.answer.expanded.ceil();
        let off = if off <= 1.0 {
            "by one piece".to_owned()
        } else {
            format!("by {off} pieces")
        };
        match self.answer.advice {
            Advice::Trust => format!("{pieces} pieces. This is good to one piece."),
            Advice::WeighMore => format!(
                "About {pieces} pieces, but it may be off {off}. Weigh more single pieces, and it can be good to one."
            ),
            Advice::CountByHand => format!(
                "About {pieces} pieces, but it may be off {off}. The scale is too coarse or the pieces differ too \
                 much: count by hand, or weigh smaller heaps."
            ),
        }
    }

    /// The sample as it is kept: "12.1 11.9 12".
    pub fn sample_words(&self) -> String {
        self.sample
            .iter()
            .map(f64::to_string)
            .collect::<Vec<_>>()
            .join(" ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(gross: &str, tare: &str, sample: &str) -> Typed {
        Typed {
            gross: gross.into(),
            tare: tare.into(),
            step: "1".into(),
            sample: sample.into(),
            sample_step: "0.01".into(),
        }
    }

    #[test]
    fn masses_are_read_as_people_write_them() {
        for (text, grams) in [
            ("1250", Some(1250.0)),
            (" 1250 g ", Some(1250.0)),
            ("1.25 kg", Some(1250.0)),
            ("1,25kg", Some(1250.0)),
            ("0", Some(0.0)),
            ("", None),
            ("-3", None),
            ("heavy", None),
            ("inf", None),
            ("1e400", None),
        ] {
            assert_eq!(mass(text), grams, "“{text}”");
        }
    }

    #[test]
    fn a_heap_is_reckoned_and_says_how_good_that_is() {
        // 120 pieces of 12 g in a box of 200 g; a scale of whole grams; pieces that hardly differ.
        let good = read(&typed("1640", "200", "12.00 12.01 11.99 12.00 12.01 11.99")).unwrap();
        assert_eq!(good.pieces(), 120);
        assert!(good.is_good_to_one(), "{}", good.words());
        assert_eq!(good.words(), "120 pieces. This is good to one piece.");
        // The same heap, of pieces that differ by a tenth: nobody can tell to one piece.
        let rough = read(&typed("1640", "200", "11 13 12 12.5 11.5")).unwrap();
        assert!(!rough.is_good_to_one());
        assert!(rough.words().contains("count by hand"), "{}", rough.words());
    }

    #[test]
    fn every_wrong_field_is_named() {
        let fields = |typed: &Typed| -> Vec<&'static str> {
            read(typed)
                .map_err(|wrongs| wrongs.into_iter().map(|(field, _)| field).collect())
                .err()
                .unwrap_or_default()
        };
        for (gross, tare, sample, wrong) in [
            ("", "", "12 12", vec!["gross", "tare"]),
            ("100", "200", "12 12", vec!["tare"]),
            ("1640", "200", "12", vec!["sample"]),
            ("1640", "200", "", vec!["sample"]),
            ("1640", "200", "12 twelve", vec!["sample"]),
            ("1640", "200", "0 0", vec!["sample"]),
            ("1e12", "200", "12 12", vec!["gross"]),
        ] {
            assert_eq!(
                fields(&typed(gross, tare, sample)),
                wrong,
                "{gross} {tare} {sample}"
            );
        }
        let mut coarse = typed("1640", "200", "12 12");
        coarse.step = "0".into();
        coarse.sample_step = "x".into();
        assert_eq!(fields(&coarse), vec!["step", "sample_step"]);
        let long = vec!["12"; 61].join(" ");
        assert_eq!(fields(&typed("1640", "200", &long)), vec!["sample"]);
    }
}
