// Package rules holds the rules of the house as tests: who may import whom,
// and which calls are banned where. Each row gives its reason, and a failure
// says file, what was found and why it must not be there.
package rules
