"""The pages and the modal questions."""
