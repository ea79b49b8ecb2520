// Package house holds no code, only the rules of the house, kept as tests:
// which package may import which, how long a function may be, what must be
// explained, and which words do not appear.
package house
