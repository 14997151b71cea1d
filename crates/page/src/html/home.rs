//! The start page.

use super::layout::layout;
use crate::state::House;
use ripieno_picture::svg::escape;

/// Cues opened lately, the demo, a place to drop music.
pub fn home(house: &House) -> String {
    let recent = house.recent.list();
    let mut list = String::new();
    for (folder, title) in &recent {
        let path = folder.display().to_string();
        list.push_str(&format!(
            r#"<li><button type="button" class="open-cue" data-folder="{path}"><span class="name">{title}</span> <span class="quiet">{path}</span></button></li>"#,
            path = escape(&path),
            title = escape(title),
        ));
    }
    let lately = if recent.is_empty() {
        r#"<p class="quiet">No cue has been opened on this machine yet.</p>"#.to_string()
    } else {
        format!(r#"<ul class="lately">{list}</ul>"#)
    };
    let body = format!(
        r#"<main id="home">
<h1>Ripieno</h1>
<p class="lead">Who plays what, how it is played, and how it sounds: computed from your notes and a short casting plan.</p>
<section aria-labelledby="music-title">
<h2 id="music-title">New music</h2>
<label class="drop" id="drop" for="music-file">
<span class="big">Drop a piece here</span>
<span>MIDI or MusicXML (.mid, .musicxml, .xml, .mxl), or choose a file</span>
<input type="file" id="music-file" accept=".mid,.midi,.musicxml,.xml,.mxl">
</label>
<p><label>On a template of your own, if you have one <input id="template" size="48" autocomplete="off" spellcheck="false" placeholder="studio/template.toml, or a MIDI export of your session"></label></p>
<p class="quiet">It becomes a cue of its own in {home}. Your file is copied and never changed.</p>
<progress id="opening" hidden aria-label="the piece is read"></progress>
<div id="trouble" role="alert"></div>
</section>
<section aria-labelledby="lately-title"><h2 id="lately-title">Opened lately</h2>{lately}</section>
<section aria-labelledby="demo-title">
<h2 id="demo-title">The demo</h2>
<p>“Night Ferry”: the last crossing of a harbour ferry, 72 bars for orchestra and voices.</p>
<button type="button" id="open-demo">open the demo</button>
</section>
<section aria-labelledby="folder-title">
<h2 id="folder-title">A cue that is there already</h2>
<form id="open-folder"><label for="folder">Its folder</label> <input id="folder" name="folder" size="48" autocomplete="off" spellcheck="false"> <button type="submit">open</button></form>
</section>
</main>"#,
        home = escape(&house.home.display().to_string()),
    );
    layout(house, "Start", &body)
}
