"""The score: cues as trees and as threads, and the laws their moves follow."""
