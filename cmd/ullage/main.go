// Command ullage keeps account of oxygen from wort to package.
package main

import (
	"os"
	_ "time/tzdata" // a container and Windows have no time zones of their own

	"ullage/internal/cli"
)

func main() { os.Exit(cli.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
