// Package page holds the desk's page as files in the program.
package page

import "embed"

// Files are what a browser may be given: those that end in tml, css, svg or .js.
// The page's own tests are not among them.
//
//go:embed *[tcs.][msvj][lsg]
var Files embed.FS
