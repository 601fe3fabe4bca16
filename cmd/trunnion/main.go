// Command trunnion is the console for calibrating a friction-variator machine.
package main

func main() {}
