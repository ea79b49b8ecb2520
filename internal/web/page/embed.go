// Package page holds the desk's page as files in the program.
package page

import "embed"

// Files are what a browser may be given: html, css, js and svg. The page's own
// tests are not among them.
//
//go:embed *.html *.css *.svg *.js
//go:embed common/*.js done/*.js glass/*.js listen/*.js start/*.js take/*.js wall/*.js
var Files embed.FS
