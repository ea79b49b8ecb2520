// Package shoot holds the nouns of a day's work: clips, sounds, and the takes
// that join them. It opens no file.
package shoot
