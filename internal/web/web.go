// Package web is the desk's face to a browser on the same computer: the routes
// of docs/desk.md over a Desk. It decides nothing about recordings; it guards
// the door, reads what is asked and writes what the Desk answers.
package web
