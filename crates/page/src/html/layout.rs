//! What every page has.

use crate::state::House;
use ripieno_picture::svg::escape;

/// A page with a title and a body.
pub fn layout(house: &House, title: &str, body: &str) -> String {
    format!(
        r#"<!doctype html>
<html lang="en" data-light="day">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="token" content="{token}">
<title>{title} · Ripieno</title>
<link rel="icon" href="data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 16 16'%3E%3Cpath d='M2 4h5M2 8h9M2 12h12' stroke='%230b6e8f' stroke-width='2'/%3E%3C/svg%3E">
<link rel="stylesheet" href="/assets/pictures.css">
<link rel="stylesheet" href="/assets/page.css">
<link rel="stylesheet" href="/assets/board.css">
<link rel="stylesheet" href="/assets/opened.css">
<link rel="stylesheet" href="/assets/listen.css">
<link rel="stylesheet" href="/assets/film.css">
<link rel="stylesheet" href="/assets/hall.css">
<link rel="stylesheet" href="/assets/patches.css">
<script type="module" src="/assets/main.js"></script>
</head>
<body>
{body}
<div id="said" role="status" aria-live="polite"></div>
</body>
</html>
"#,
        token = house.token,
        title = escape(title),
    )
}
