//! Pictures of the invented parts and of a packed crate: a few shapes, drawn here, that show what a photo
//! would. And the invented guide as a PDF.

use std::io::Cursor;

use anyhow::Context;
use image::{ImageFormat, Rgb, RgbImage};

use super::counted::Counted;
use super::fill::{Story, unrefused};
use super::kept::keeper_of;
use super::world::{HOBNAIL, LARCHES, Minutes};
use super::{store, world};
use crate::guides::pdf;
use crate::ids::{PartId, RevisionId};
use crate::pictures::files::Arriving;
use crate::pictures::rules::{self, Said};
use crate::pictures::{self, NewPicture, Of};

const TABLE: Rgb<u8> = Rgb([233, 226, 211]);
const CHARCOAL: Rgb<u8> = Rgb([58, 60, 62]);
const SLATE: Rgb<u8> = Rgb([92, 104, 116]);
const SILVER: Rgb<u8> = Rgb([176, 180, 184]);
const WOOD: Rgb<u8> = Rgb([196, 154, 98]);
const ORANGE: Rgb<u8> = Rgb([222, 120, 40]);

/// A rectangle in hundredths of the picture: left, top, width, height.
type Shape = (u32, u32, u32, u32, Rgb<u8>);

struct Drawn {
    /// The number of the part, or none for the crate.
    part: Option<&'static str>,
    layer: &'static str,
    words: &'static str,
    shapes: &'static [Shape],
}

const PICTURES: &[Drawn] = &[
    Drawn {
        part: Some("C-140"),
        layer: "",
        words: "Peg 40 beside a ruler: both ends smooth",
        shapes: &[(30, 40, 40, 12, CHARCOAL), (28, 62, 44, 4, WOOD)],
    },
    Drawn {
        part: Some("C-145"),
        layer: "",
        words: "Peg 45 beside a ruler: a groove at the right end",
        shapes: &[
            (28, 40, 45, 12, CHARCOAL),
            (66, 40, 2, 12, TABLE),
            (28, 62, 44, 4, WOOD),
        ],
    },
    Drawn {
        part: Some("B-210"),
        layer: "",
        words: "Post 210: one ring cut near the right end",
        shapes: &[(12, 44, 70, 14, SILVER), (74, 44, 1, 14, CHARCOAL)],
    },
    Drawn {
        part: Some("L-302"),
        layer: "",
        words: "Base plate, long, from above: six holes",
        shapes: &[
            (14, 24, 72, 50, SLATE),
            (22, 32, 5, 7, TABLE),
            (47, 32, 5, 7, TABLE),
            (73, 32, 5, 7, TABLE),
            (22, 59, 5, 7, TABLE),
            (47, 59, 5, 7, TABLE),
            (73, 59, 5, 7, TABLE),
        ],
    },
    Drawn {
        part: None,
        layer: "1",
        words: "Posts lengthwise, caps to the left",
        shapes: &[
            (6, 6, 88, 88, CHARCOAL),
            (9, 9, 82, 82, TABLE),
            (12, 14, 76, 10, SILVER),
            (12, 28, 76, 10, SILVER),
            (12, 42, 76, 10, SILVER),
            (12, 56, 76, 10, SILVER),
            (12, 70, 76, 10, SILVER),
        ],
    },
    Drawn {
        part: None,
        layer: "2",
        words: "Plates flat on the posts, bags in the corners",
        shapes: &[
            (6, 6, 88, 88, CHARCOAL),
            (9, 9, 82, 82, TABLE),
            (14, 14, 34, 72, SLATE),
            (52, 14, 34, 46, SLATE),
            (52, 64, 15, 22, ORANGE),
            (71, 64, 15, 22, ORANGE),
        ],
    },
];

pub(super) async fn hang(story: &Story, counted: &Counted) -> anyhow::Result<()> {
    story.go_to(Minutes(-26 * 60));
    for drawn in PICTURES {
        let team = match drawn.part {
            Some(_) => LARCHES,
            None => HOBNAIL,
        };
        let of = match drawn.part {
            Some(number) => Of::Part(part(story, number).await?),
            None => Of::Place(counted.full_crate),
        };
        let viewer = story.viewer(keeper_of(team)?)?;
        let said = Said {
            words: drawn.words.into(),
            taken_on: story.today().plus_days(-1).to_string(),
            layer: drawn.layer.into(),
        };
        let caption = rules::caption(&said, story.today())
            .map_err(|wrongs| anyhow::anyhow!("the demo's words: {wrongs:?}"))?;
        let photo = photo(drawn.shapes)?;
        let developed = unrefused(story.app.pictures.develop(photo).await)?;
        let new = NewPicture {
            of,
            team: story.team(team)?,
            caption,
            by: Some(viewer.person),
        };
        let sent = story.sent();
        unrefused(pictures::add(&story.app, viewer, &sent, &new, &developed, None).await)?;
    }
    Ok(())
}

/// The guide of the newest revision: one page of text.
pub(super) async fn lay_out(story: &Story, revision: RevisionId) -> anyhow::Result<()> {
    story.go_to(Minutes(-25 * 60));
    let viewer = story.viewer(keeper_of(LARCHES)?)?;
    let mut arriving = Arriving::begin(&story.app).await?;
    arriving.take(&story.app, &page_of_text()).await?;
    let sent = story.sent();
    let name = "Over Three Passes, issue 2.pdf";
    let kept = pdf::attach(&story.app, viewer, &sent, revision, name, &arriving);
    unrefused(kept.await)?;
    Ok(())
}

/// A PDF with one page (ISO 32000-1, annex H.3).
fn page_of_text() -> Vec<u8> {
    let text = "BT /F1 18 Tf 60 760 Td (Over Three Passes, issue 2) Tj 0 -30 Td \
        (An invented guide: every part, number and picture in it is made up.) Tj ET";
    let objects = [
        "<< /Type /Catalog /Pages 2 0 R >>".to_owned(),
        "<< /Type /Pages /Kids [3 0 R] /Count 1 >>".to_owned(),
        "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R \
         /Resources << /Font << /F1 5 0 R >> >> >>"
            .to_owned(),
        format!("<< /Length {} >>\nstream\n{text}\nendstream", text.len()),
        "<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>".to_owned(),
    ];
    let mut file = "%PDF-1.4\n".to_owned();
    let mut table = "0000000000 65535 f \n".to_owned();
    for (number, object) in (1..).zip(&objects) {
        table.push_str(&format!("{:010} 00000 n \n", file.len()));
        file.push_str(&format!("{number} 0 obj\n{object}\nendobj\n"));
    }
    let begins = file.len();
    let size = objects.len() + 1;
    file.push_str(&format!(
        "xref\n0 {size}\n{table}trailer\n<< /Size {size} /Root 1 0 R >>\nstartxref\n{begins}\n%%EOF\n"
    ));
    file.into_bytes()
}

async fn part(story: &Story, number: &str) -> anyhow::Result<PartId> {
    let mut db = story.app.db.read().await?;
    let found = store::with_number(&mut db, number).await?;
    found
        .first()
        .copied()
        .with_context(|| format!("no part {number} in {}", world::THIS_SEASON))
}

fn photo(shapes: &[Shape]) -> anyhow::Result<Vec<u8>> {
    let (width, height) = (480, 360);
    let mut picture = RgbImage::from_pixel(width, height, TABLE);
    for (left, top, wide, high, colour) in shapes {
        for y in top * height / 100..(top + high) * height / 100 {
            for x in left * width / 100..(left + wide) * width / 100 {
                picture.put_pixel(x, y, *colour);
            }
        }
    }
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png)?;
    Ok(bytes.into_inner())
}
