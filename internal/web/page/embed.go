// Package page holds the desk's page as files in the program.
package page

import "embed"

// Files are what a browser may be given: html, css, js and svg. The page's own
// tests are not among them.
//
//go:embed *.html *.css *.js *.svg
var Files embed.FS
