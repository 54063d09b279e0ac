//! The photos, two or four a page, with stage, time, and how both are known.

use datumtrail_paper::{Gallery, Paper, Print, Span, Style};

use super::pictures::{Made, TWO_A_PAGE};
use crate::archive::story::{Certainty, PhotoStory, Story};
use crate::archive::words::{self, capital};

pub fn draw(paper: &mut Paper, story: &Story, pictures: &Made) {
    if story.photos.is_empty() {
        return;
    }
    let columns = if story.photos.len() > TWO_A_PAGE {
        2
    } else {
        1
    };
    paper.heading(2, "Photos");
    paper.text(
        Style::BODY.keep(),
        format!(
            "In the order of the stages. Times are those of {}, after each camera's clock was put \
             right; the small print says how surely. In the archive's photos folder each has its \
             number in front of its name.",
            story.head.zone
        ),
    );
    let mut gallery = Gallery {
        columns,
        ..Gallery::default()
    };
    let mut stage: Option<&str> = None;
    for photo in &story.photos {
        let here = place(photo);
        if stage != Some(here) {
            let full = std::mem::take(&mut gallery.prints);
            paper.gallery(Gallery {
                columns,
                prints: full,
            });
            paper.heading(3, here);
            stage = Some(here);
        }
        gallery.prints.push(print(story, photo, pictures));
    }
    paper.gallery(gallery);
}

fn place(photo: &PhotoStory) -> &str {
    match (&photo.withdrawn, &photo.stage_title) {
        (Some(_), _) => "Withdrawn photos",
        (None, Some(title)) => title,
        (None, None) => "Photos without a settled stage",
    }
}

fn print(story: &Story, photo: &PhotoStory, pictures: &Made) -> Print {
    let taken = photo.taken.as_deref().map(words::moment);
    let mut alt = format!("Photo {}, {}", photo.number, place(photo));
    if let Some(taken) = &taken {
        alt += &format!(", {taken}");
    }
    let notes: Vec<_> = photo.notes.iter().filter_map(|id| story.note(id)).collect();
    for note in &notes {
        alt += &format!(": {}", words::cut(&note.text, 160));
    }
    let picture = pictures.get(&photo.id);
    let missing = match (&photo.left_out, picture) {
        (Some(why), _) => format!("Not in this archive: {why}."),
        (None, Some(Err(why))) => format!("No picture can be made of this file: {why}."),
        (None, _) => "No picture was made of this file.".into(),
    };
    let mut print = Print {
        picture: picture.and_then(|p| p.as_ref().ok()).cloned(),
        missing,
        alt,
        caption: Vec::new(),
    };
    let time = taken.unwrap_or_else(|| "no time".into());
    let head = [
        Span::bold(format!("{}  ", photo.number)),
        Span::bold(time),
        Span::quiet(format!("  {}", photo.name)),
    ];
    let style = Style::TABLE.sized(8.5);
    print.caption(style, head);
    for note in &notes {
        let by = Span::quiet(format!("  {}", note.author));
        print.caption(style.above(1.5), vec![Span::plain(&*note.text), by]);
    }
    if !photo.shows.is_empty() {
        let text = format!("Shows the reading of {}.", words::list(&photo.shows));
        print.caption(style.above(1.5), text);
    }
    if let Some(withdrawn) = &photo.withdrawn {
        let text = format!("Withdrawn: {}", withdrawn.reason);
        print.caption(style.above(1.5), text);
    }
    print.caption(Style::SMALL.sized(7.2).above(1.5), small_print(photo));
    print
}

/// How the photo's time and place are known, and how its file differs from the original.
fn small_print(photo: &PhotoStory) -> String {
    let tie = match photo.certainty {
        Certainty::Doubtful => format!("Stage not settled: {}.", photo.tie),
        _ => format!("{}.", capital(&photo.tie)),
    };
    let time = match (photo.time_source.as_str(), photo.taken_u_s) {
        ("", _) => String::new(),
        (source, Some(u)) => {
            format!(" Time: {source}, good to {}.", words::duration(u.max(1.0)))
        }
        (source, None) => format!(" Time: {source}."),
    };
    let camera = match photo.clock.as_str() {
        "" => format!(" {}.", photo.camera),
        clock => format!(" {}, clock {clock}.", photo.camera),
    };
    let copy = match &photo.copy {
        Some(copy) => format!(" A copy: {}.", copy.differs),
        None => String::new(),
    };
    format!("{tie}{time}{camera}{copy}")
}
