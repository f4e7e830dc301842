//! The XML inside a workbook, event by event, against one allowance for the whole file.
//!
//! A document that defines entities is refused; only the five of XML itself and numbered characters are
//! resolved, so that nothing grows by being read.

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::{MOST_DEPTH, MOST_STEPS, NotAWorkbook};

/// The longest entity of XML, a numbered character, and the sign that ends it.
const LONGEST_ENTITY: usize = 10;

/// How many steps of XML may still be read.
#[derive(Debug)]
pub struct Allowance {
    steps: u32,
}

impl Allowance {
    pub fn new() -> Self {
        Self { steps: MOST_STEPS }
    }

    /// Takes steps that are not XML: repeating what stands there once.
    pub fn take(&mut self, steps: u32) -> Result<(), NotAWorkbook> {
        self.steps = self
            .steps
            .checked_sub(steps)
            .ok_or(NotAWorkbook::TooMuchInside)?;
        Ok(())
    }
}

/// One step through a document.
#[derive(Debug)]
pub enum Step<'a> {
    /// A tag opens. One that closes at once is followed by its end like any other.
    Open(Tag<'a>),
    Close,
    Text(String),
    End,
}

/// A tag: its name without its prefix, and its attributes.
#[derive(Debug)]
pub struct Tag<'a>(BytesStart<'a>);

impl Tag<'_> {
    pub fn is(&self, name: &str) -> bool {
        self.0.local_name().as_ref() == name
    }

    /// An attribute by its name, with its prefix or without.
    pub fn attribute(&self, name: &str) -> Option<String> {
        let mut attributes = self.0.attributes();
        // Comparing every name with every other would take long on purpose-made tags.
        attributes.with_checks(false).flatten().find_map(|found| {
            let is_it = if name.contains(':') {
                found.key.as_ref() == name
            } else {
                found.key.local_name().as_ref() == name
            };
            is_it.then(|| resolve(&found.value))
        })
    }

    pub fn number(&self, name: &str) -> Option<u32> {
        self.attribute(name)?.trim().parse().ok()
    }

    /// Whether a yes-or-no attribute says yes.
    pub fn says(&self, name: &str) -> bool {
        matches!(self.attribute(name).as_deref(), Some("1" | "true"))
    }
}

/// A document being read.
pub struct Document<'a, 'n> {
    reader: Reader<&'a [u8]>,
    allowance: &'n mut Allowance,
    depth: usize,
}

impl<'a, 'n> Document<'a, 'n> {
    pub fn new(bytes: &'a [u8], allowance: &'n mut Allowance) -> Result<Self, NotAWorkbook> {
        let text = str::from_utf8(bytes).map_err(|_| NotAWorkbook::Damaged)?;
        let mut reader = Reader::from_str(text);
        reader.config_mut().expand_empty_elements = true;
        Ok(Self {
            reader,
            allowance,
            depth: 0,
        })
    }

    pub fn allowance(&mut self) -> &mut Allowance {
        self.allowance
    }

    /// How many tags are open.
    pub fn depth(&self) -> usize {
        self.depth
    }

    pub fn step(&mut self) -> Result<Step<'a>, NotAWorkbook> {
        loop {
            self.allowance.take(1)?;
            let event = self.reader.read_event();
            return match event.map_err(|_| NotAWorkbook::Damaged)? {
                Event::Start(tag) => {
                    self.depth += 1;
                    if self.depth > MOST_DEPTH {
                        return Err(NotAWorkbook::TooDeep);
                    }
                    Ok(Step::Open(Tag(tag)))
                }
                Event::End(_) => {
                    self.depth = self.depth.checked_sub(1).ok_or(NotAWorkbook::Damaged)?;
                    Ok(Step::Close)
                }
                Event::Text(text) => Ok(Step::Text(text.to_string())),
                Event::CData(text) => Ok(Step::Text(text.to_string())),
                Event::GeneralRef(name) => {
                    let letter = entity(&name).ok_or(NotAWorkbook::OwnEntities)?;
                    Ok(Step::Text(letter.to_string()))
                }
                Event::DocType(_) => Err(NotAWorkbook::OwnEntities),
                Event::Eof if self.depth == 0 => Ok(Step::End),
                Event::Eof => Err(NotAWorkbook::Damaged),
                Event::Empty(_) | Event::Comment(_) | Event::Decl(_) | Event::PI(_) => continue,
            };
        }
    }

    /// Goes on behind the end of the tag that was opened last.
    pub fn skip(&mut self) -> Result<(), NotAWorkbook> {
        let outside = self.depth.saturating_sub(1);
        while self.depth > outside {
            self.step()?;
        }
        Ok(())
    }

    /// The text inside the tag that was opened last, behind whose end reading goes on.
    pub fn text(&mut self, longest: usize) -> Result<String, TextWrong> {
        let outside = self.depth.saturating_sub(1);
        let mut all = String::new();
        while self.depth > outside {
            if let Step::Text(text) = self.step()? {
                all.push_str(&text);
            }
            if all.len() > longest {
                return Err(TextWrong::TooLong);
            }
        }
        Ok(all)
    }
}

/// Why the text inside a tag was not read.
#[derive(Debug)]
pub enum TextWrong {
    TooLong,
    Other(NotAWorkbook),
}

impl From<NotAWorkbook> for TextWrong {
    fn from(wrong: NotAWorkbook) -> Self {
        Self::Other(wrong)
    }
}

fn entity(name: &str) -> Option<char> {
    match name {
        "lt" => Some('<'),
        "gt" => Some('>'),
        "amp" => Some('&'),
        "apos" => Some('\''),
        "quot" => Some('"'),
        numbered => {
            let number = numbered.strip_prefix('#')?;
            let code = match number.strip_prefix('x') {
                Some(digits) => u32::from_str_radix(digits, 16).ok()?,
                None => number.parse().ok()?,
            };
            char::from_u32(code)
        }
    }
}

/// An attribute's value. What is no entity of XML stays as it stands.
fn resolve(raw: &str) -> String {
    let mut rest = raw;
    let mut text = String::with_capacity(raw.len());
    while let Some((before, after)) = rest.split_once('&') {
        text.push_str(before);
        // Looked for close by only: a row of ampersands is not searched to its end for each of them.
        let close = after
            .bytes()
            .take(LONGEST_ENTITY)
            .position(|byte| byte == b';');
        match close.and_then(|end| Some((entity(&after[..end])?, end))) {
            Some((letter, end)) => {
                text.push(letter);
                rest = &after[end + 1..];
            }
            None => {
                text.push('&');
                rest = after;
            }
        }
    }
    text.push_str(rest);
    text
}
