"""Which drink is liked best, tasted blind?"""
