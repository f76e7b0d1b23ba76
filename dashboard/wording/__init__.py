"""Sentences that screens say."""
